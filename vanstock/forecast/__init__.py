"""How many are coming: weekly series to rate and spread. Pure."""
