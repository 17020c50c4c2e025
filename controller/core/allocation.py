"""The one place that turns two demands into heat, vent and fog, with dead zones."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Demands:
    """What the chamber is asked to do in this scan, in physical units, before actuators shape it.

    fighting_kW: min(heat, heat carried out by the vent), this scan; it should be nothing.
    why: what limits, in words, one entry a limit ("dew limit: board bay 1 level 1").
    """

    heat_kW: float
    vent_kg_per_s: float
    fog_kg_per_h: float
    fan_pct: float
    fighting_kW: float
    why: tuple[str, ...]
