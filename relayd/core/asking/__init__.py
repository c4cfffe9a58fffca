"""What people ask for, and the answers they get."""
