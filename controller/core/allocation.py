"""The one place that turns two demands into heat, vent and fog, with dead zones."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Ge, Gt, Le


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperatureConfig:
    """[temperature]: the heat loop and what it has to move. Gains are those at nominal_t; they scale with the mass.

    dead_zone_kW: no vent for temperature before this much cooling is needed.
    fog_heat_band_K: fog's evaporation heat is fed forward only while the air is below the floor plus this.
    product_MJ_per_K_per_t, fixed_MJ_per_K: thermal mass of the product, and of boards and racks.
    """

    gain_kW_per_K: Annotated[float, Gt(0), Le(500)] = 20.0
    integral_s: Annotated[float, Ge(60), Le(36000)] = 2400.0
    decay_s: Annotated[float, Ge(60), Le(36000)] = 1800.0
    dead_zone_kW: Annotated[float, Ge(0), Le(50)] = 2.0
    fog_heat_band_K: Annotated[float, Ge(0), Le(2)] = 0.3
    nominal_t: Annotated[float, Gt(0), Le(1000)] = 120.0
    product_MJ_per_K_per_t: Annotated[float, Ge(0.7), Le(1.5)] = 1.0
    fixed_MJ_per_K: Annotated[float, Ge(0), Le(500)] = 46.6


@dataclass(frozen=True, slots=True, kw_only=True)
class MoistureConfig:
    """[moisture]: the loop on the humidity ratio. One integrator; above zero it fogs, below zero it vents.

    vent_gain_ratio: gain above the dew limit over the gain below the humidity floor.
    full_gain_below_rh_pct: above it the gain falls in proportion to what is missing to saturation...
    gain_ratio_min: ...but not below this share.
    """

    gain_kg_per_h_per_g_per_kg: Annotated[float, Gt(0), Le(500)] = 13.0
    integral_s: Annotated[float, Ge(60), Le(36000)] = 800.0
    decay_s: Annotated[float, Ge(60), Le(36000)] = 800.0
    vent_gain_ratio: Annotated[float, Gt(0), Le(20)] = 1.0
    full_gain_below_rh_pct: Annotated[float, Ge(50), Le(99)] = 96.0
    gain_ratio_min: Annotated[float, Gt(0), Le(1)] = 0.25


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
