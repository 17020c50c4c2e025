"""What must be true after every scan."""
