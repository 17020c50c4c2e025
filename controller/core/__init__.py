"""The pure core: no clock, I/O, randomness or logging; time is an argument."""
