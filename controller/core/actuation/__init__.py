"""From demands in physical units to outputs."""
