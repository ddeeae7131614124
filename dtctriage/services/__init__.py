"""What is asked and answered, as pure bytes and values."""
