"""Positions and their product: temperature, equivalent age, strength, drying rate, what is ready."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Product:
    """What is believed of the product now. Positions are bay-major: index = (bay - 1) * levels + (level - 1).

    Equivalent age in hours at 20 degC. drying_kg_per_m2h: h_m (a_w Ws(T_surface) - W), positive dries, negative wets.
    """

    core_degC: float
    core_degC_max: float
    surface_degC: float
    drying_kg_per_m2h: float
    word: str  # "drying", "wetting" or "neutral"
    age_h_min: float
    age_h_mean: float
    age_h_max: float
    strength_MPa_min: float
    ready_fraction: float
    ok: bool
