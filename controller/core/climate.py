"""What the chamber is like now: mean, spread, dew point per pair, coldest watched surface, dew margin."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Climate:
    """One scan's picture of the chamber, from good readings only; NaN where there is none.

    dew_point_degC: median over the pairs, each formed from RH and the temperature of the same body.
    rh_pct: vapour pressure at that dew point over saturation at the mean temperature.
    surface_degC: the coldest watched surface, its reserve already taken off; surface: which one, in words.
    dew_limit_degC: surface_degC minus the margin; dew_margin_K: surface_degC minus the dew point.
    """

    temperature_degC: float
    coldest_degC: float
    hottest_degC: float
    spread_K: float
    dew_point_degC: float
    humidity_ratio: float
    rh_pct: float
    surface_degC: float
    surface: str
    dew_limit_degC: float
    dew_margin_K: float
    supply_degC: float
    return_degC: float
    hall_degC: float
    outdoor_degC: float
    outdoor_humidity_ratio: float
    airflow_kg_per_s: float
    fan_kW: float
    heat_kW: float
    fog_kg_per_h: float
    temperature_ok: bool
    moisture_ok: bool
    surface_ok: bool
