"""What happened: the only SQL, one SQLite file."""
