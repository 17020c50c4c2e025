"""From setpoints to demands: what is possible now, what is allowed, the loops, one allocation of heat, vent and fog."""
