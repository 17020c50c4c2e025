"""What people are told, and what lamps and horn make of it."""
