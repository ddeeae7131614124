"""Ways into the vehicle."""
