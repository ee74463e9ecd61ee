"""Use cases, one file for each moment of the working week."""
