"""Tables the program reads: cautions."""
