"""Files in and out: the folder of CSV files."""
