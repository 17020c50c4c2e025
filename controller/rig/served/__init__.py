"""The chamber model as a device for others, and what it shows meanwhile."""
