"""What stands in the racks: its temperature, age, strength and readiness, place by place."""
