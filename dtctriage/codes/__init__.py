"""What a trouble code says."""
