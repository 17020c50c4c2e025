"""What a cycle amounted to: key figures, verdict, the table a person reads."""
