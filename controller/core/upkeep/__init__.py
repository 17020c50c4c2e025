"""Hours and starts of drives, and what people have to do from time to time."""
