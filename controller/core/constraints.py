"""Constraints: they narrow what recipe and loops may do so that surfaces stay dry and the product is spared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Ge, Gt, Le


@dataclass(frozen=True, slots=True, kw_only=True)
class ConstraintsConfig:
    """[constraints]: limits that hold whatever the recipe says.

    fog_gap_K: fog stops this far below the dew limit, so that fog and vent never meet.
    blind_margin_K: dew limit below the coldest air probe when no watched surface has a good reading.
    ramp_K_per_h_max, air_over_product_K_max: what the product is spared.
    product_degC_max: heat fades out over the last kelvin below this core temperature.
    heat_kW_max: share of the boiler this chamber may take (the heater's own size stands in [heat]).
    """

    fog_gap_K: Annotated[float, Ge(0), Le(1)] = 0.1
    blind_margin_K: Annotated[float, Ge(0.3), Le(10)] = 1.5
    ramp_K_per_h_max: Annotated[float, Gt(0), Le(20)] = 5.0
    air_over_product_K_max: Annotated[float, Gt(1), Le(40)] = 12.0
    product_degC_max: Annotated[float, Ge(25), Le(80)] = 50.0
    heat_kW_max: Annotated[float, Gt(0), Le(2000)] = 1000.0
