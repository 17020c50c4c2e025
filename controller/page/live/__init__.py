"""What is going on now, made from the store: one picture a chamber, once for all who look."""
