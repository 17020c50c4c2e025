"""What stands in the chamber: racks with boards, and fresh concrete on them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Ge, Gt, Le, Len, Lt

from plantsim.params.bounds import Share


@dataclass(frozen=True, slots=True, kw_only=True)
class Racks:
    """Steel racks and production boards, one node a position. Boards scale with the load, racks do not."""

    boards_kg: Annotated[float, Ge(0), Le(1e6)] = 24600.0  # at the nominal load
    boards_J_per_kg_K: Annotated[float, Ge(200), Le(5000)] = 1600.0
    boards_m2_per_position: Annotated[float, Ge(0), Le(200)] = 19.0  # at the nominal load
    steel_kg: Annotated[float, Ge(10), Le(1e6)] = 15000.0
    steel_J_per_kg_K: Annotated[float, Ge(200), Le(5000)] = 480.0
    steel_m2_per_position: Annotated[float, Ge(0.01), Le(100)] = 4.0
    film_hold_kg_per_m2: Annotated[float, Ge(0.001), Le(10)] = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """Fresh concrete: a skin and a core a position, water on and in the skin, heat of hydration in both.

    Heat released per kg of cement = heat_J_per_kg * exp(-(tau_h / te)^shape), te = equivalent age at 20 degC.
    """

    nominal_t: Annotated[float, Ge(0.1), Le(2000)] = 120.0
    m2_per_position: Annotated[float, Ge(0.1), Le(200)] = 22.5  # at the nominal load
    heat_J_per_kg_K: Annotated[float, Ge(500), Le(3000)] = 1000.0
    skin_share: Annotated[float, Gt(0), Lt(1)] = 0.35
    skin_to_core_W_per_m2_K: Annotated[float, Ge(1), Le(1000)] = 64.0
    water_activity: Annotated[float, Gt(0), Le(1)] = 0.98
    wetted_fraction: Share = 0.2
    water_kg_per_kg: Annotated[float, Gt(0), Lt(0.2)] = 0.06  # mix water within reach of the surface, of the skin
    film_hold_kg_per_m2: Annotated[float, Ge(0.001), Le(10)] = 0.6
    film_full_kg_per_m2: Annotated[float, Ge(0.001), Le(1)] = 0.05  # from here on the film covers the whole surface
    absorb_s: Annotated[float, Ge(10), Le(1e7)] = 1800.0  # time constant with which the film is sucked in
    cement_share: Annotated[float, Ge(0), Lt(0.5)] = 0.152
    hydration_J_per_kg: Annotated[float, Ge(0), Le(6e5)] = 346700.0
    tau_h: Annotated[float, Ge(1), Le(500)] = 21.86
    shape: Annotated[float, Gt(0), Lt(3)] = 0.946
    activation_J_per_mol: Annotated[float, Ge(1e4), Le(1e5)] = 38300.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MixParams:
    """A mix of its own, by name, for batches that are placed. What it leaves out is as in the product section."""

    name: Annotated[str, Len(1, 40)]
    heat_J_per_kg_K: Annotated[float, Ge(500), Le(3000)] | None = None
    m2_per_position: Annotated[float, Ge(0.1), Le(200)] | None = None
    water_activity: Annotated[float, Gt(0), Le(1)] | None = None
    wetted_fraction: Share | None = None
    water_kg_per_kg: Annotated[float, Gt(0), Lt(0.2)] | None = None
    cement_share: Annotated[float, Ge(0), Lt(0.5)] | None = None
    hydration_J_per_kg: Annotated[float, Ge(0), Le(6e5)] | None = None
    tau_h: Annotated[float, Ge(1), Le(500)] | None = None
    shape: Annotated[float, Gt(0), Lt(3)] | None = None
    activation_J_per_mol: Annotated[float, Ge(1e4), Le(1e5)] | None = None
