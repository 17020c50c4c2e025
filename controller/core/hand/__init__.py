"""What people override for a time, and the lock-out."""
