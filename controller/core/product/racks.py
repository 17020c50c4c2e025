"""The [product] section of a chamber file: what stands in the racks, and what is believed of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Ge, Gt, Le, Len


@dataclass(frozen=True, slots=True, kw_only=True)
class Dummy:
    """A block with a core probe that stands for the product around it."""

    tag: str
    bay: Annotated[int, Ge(1)]
    level: Annotated[int, Ge(1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductConfig:
    """Section [product] of the chamber file.

    dummies: [[product.dummies]] tag, bay, level.
    air_share: share of a difference of local air that the product of a place follows.
    film_W_per_m2K at film_flow_kg_per_s (power 0.8 of the flow, never below film_still_W_per_m2K).
    surface_share: the surface lies this share of the way from core to air.
    water_activity, wetted_fraction: of the fresh surface while it dries; it wets over all its area.
    neutral_kg_per_m2h: below this, drying or wetting is called neutral.
    ready_age_h: equivalent age at which a position is ready.  gap_s: a longer interval is flagged uncertain.
    settle_h: boards that came in later than so long ago are not watched for dew (a recipe may say otherwise).
    entry_lag_h: until then they are estimated: as far from their surroundings as when they came, less by this lag.
    t_per_position_max: more tonnes than this on one place are refused.
    """

    dummies: Annotated[tuple[Dummy, ...], Len(1)]
    air_share: Annotated[float, Ge(0), Le(1)] = 0.8
    area_m2_per_position: Annotated[float, Gt(0), Le(100)] = 10.0
    film_W_per_m2K: Annotated[float, Gt(0), Le(100)] = 10.0
    film_flow_kg_per_s: Annotated[float, Gt(0), Le(100)] = 9.0
    film_still_W_per_m2K: Annotated[float, Gt(0), Le(20)] = 3.0
    surface_share: Annotated[float, Ge(0), Le(1)] = 0.1
    water_activity: Annotated[float, Gt(0), Le(1)] = 0.98
    wetted_fraction: Annotated[float, Gt(0), Le(1)] = 0.2
    neutral_kg_per_m2h: Annotated[float, Ge(0), Le(1)] = 0.01
    ready_age_h: Annotated[float, Gt(0), Le(2000)] = 30.0
    gap_s: Annotated[float, Ge(60), Le(86400)] = 300.0
    settle_h: Annotated[float, Ge(0), Le(48)] = 5.0
    entry_lag_h: Annotated[float, Gt(0), Le(24)] = 1.0
    t_per_position_max: Annotated[float, Gt(0), Le(50)] = 4.0
