"""The terminal face: parse, call one routine, show."""
