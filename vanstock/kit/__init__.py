"""What to carry: draws and stock to odds, and what to order. Pure."""
