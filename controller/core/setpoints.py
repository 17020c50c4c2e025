"""What the sequence asks of the loops in this scan."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Targets:
    """The setpoints of one scan, before constraints narrow them.

    floor_degC = ceiling_degC for a single setpoint. rate_K_per_h: how fast the floor moves now (0 when held back).
    heat, fog, vent: whether each may act in this phase and state. fan_pct: what the fan policy asks for.
    sags: the floor may sag rather than heat work against the vent.
    rh_vent_above_pct: vent above this humidity, to dry (0 = for the dew limit only). empty: nothing stands inside.
    """

    floor_degC: float
    ceiling_degC: float
    rate_K_per_h: float
    rh_fog_below_pct: float
    rh_accept_pct: float
    supply_over_return_K_max: float
    fan_pct: float
    heat: bool
    fog: bool
    vent: bool
    sags: bool = True
    rh_vent_above_pct: float = 0.0
    empty: bool = False
