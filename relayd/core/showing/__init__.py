"""What there is to see, and why it is quiet."""
