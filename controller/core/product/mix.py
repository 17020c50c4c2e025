"""A concrete mix, as far as the controller needs to know it. One file of configs/mixes a mix."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le

Curve = Literal["en1992", "exponential", "hyperbolic"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mix:
    """What a recipe's product is made of, and how it gains strength.

    activation_energy_kJ_per_mol, reference_degC: of the Arrhenius equivalent age (ASTM C1074).
    strength_curve: "en1992" uses strength_28d_MPa and strength_s (0.20 rapid, 0.25 normal, 0.38 slow cement);
    "exponential" uses strength_ultimate_MPa, strength_tau_h, strength_exponent; "hyperbolic" uses
    strength_ultimate_MPa, strength_rate_per_h, strength_start_h. Times are equivalent hours.
    heat_J_per_kg, heat_tau_h, heat_shape: heat of hydration, Q exp(-(tau / te)^shape) per kg of cement, te the
    equivalent age; used to look ahead only.
    calibrated: the curve was fitted to this plant's own specimens; otherwise every text says "uncalibrated".
    """

    name: str
    text: str = ""
    cement_kg_per_m3: Annotated[float, Gt(0), Le(1000)]
    density_kg_per_m3: Annotated[float, Ge(1000), Le(4000)]
    activation_energy_kJ_per_mol: Annotated[float, Ge(20), Le(80)] = 40.0
    reference_degC: Annotated[float, Ge(0), Le(40)] = 20.0
    strength_curve: Curve = "en1992"
    strength_28d_MPa: Annotated[float, Gt(0), Le(200)] = 60.0
    strength_s: Annotated[float, Ge(0.1), Le(0.6)] = 0.20
    strength_ultimate_MPa: Annotated[float, Gt(0), Le(250)] = 60.0
    strength_tau_h: Annotated[float, Gt(0), Le(500)] = 20.0
    strength_exponent: Annotated[float, Gt(0), Le(3)] = 0.6
    strength_rate_per_h: Annotated[float, Gt(0), Le(1)] = 0.02
    strength_start_h: Annotated[float, Ge(0), Le(48)] = 6.0
    heat_J_per_kg: Annotated[float, Ge(0), Le(1e6)] = 318_000.0
    heat_tau_h: Annotated[float, Gt(0), Le(200)] = 18.0
    heat_shape: Annotated[float, Ge(0.2), Le(3)] = 1.05
    calibrated: bool = False
