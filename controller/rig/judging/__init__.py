"""What must be true of a run and only somebody can say who knows the chamber model."""
