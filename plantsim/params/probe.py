"""Instruments, one a channel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import Ge, Le

from plantsim.params.bounds import NotNegative

Sees = Literal[
    "air", "rh", "board", "frame", "ceiling", "product", "supply", "return", "hall", "outdoor_t", "outdoor_rh",
    "water", "fan_speed", "airflow", "valve", "damper", "heat_kW", "fan_kW", "fog_kg_per_h",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """One analog channel: what it sees and where, time constant, noise (one standard deviation) and constant error.

    bay, level: from 1, where they matter. noise and offset in the probe's own unit.
    """

    tag: str
    sees: Sees
    bay: Annotated[int, Ge(0), Le(8)] = 0
    level: Annotated[int, Ge(0), Le(24)] = 0
    lag_s: NotNegative = 0.0
    noise: NotNegative = 0.0
    offset: float = 0.0
