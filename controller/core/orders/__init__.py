"""What may be ordered, in which state, and the one outcome of each order."""
