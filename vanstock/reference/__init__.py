"""Tables the program reads: cautions, generic fault codes."""
