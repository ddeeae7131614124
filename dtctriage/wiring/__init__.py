"""How a vehicle is wired, and what a fault in it does."""
