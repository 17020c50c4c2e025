"""The source of heat and the hard-wired limiter behind it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Gt, Le

from plantsim.params.bounds import Celsius, Positive


@dataclass(frozen=True, slots=True, kw_only=True)
class Coil:
    """Hot-water coil behind an equal-percentage valve."""

    max_kW: Positive = 60.0
    water_degC: Celsius = 70.0
    air_degC: Celsius = 30.0  # at which max_kW is given with the valve open
    UA_kW_per_K: Positive = 1.65
    draught_kg_per_s: Positive = 3.0  # air that the warm coil draws through itself with the fan off
    rangeability: Annotated[float, Gt(1), Le(200)] = 50.0
    authority: Annotated[float, Gt(0), Le(1)] = 0.5
    stroke_s: Positive = 90.0
    lag_s: Positive = 45.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Limiter:
    """Hard-wired high limiter in the supply air: cuts heat and opens the exhaust damper until it is reset by hand."""

    trip_degC: Celsius = 55.0
    reset_below_degC: Celsius = 45.0
    lag_s: Positive = 20.0
