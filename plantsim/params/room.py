"""Inside of the chamber, its envelope, door frames, floor, and the hall in front of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Ge, Gt, Le, Len, Lt

from plantsim.params.bounds import BAYS_MAX, Bay, NotNegative


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """Inside of the chamber. Cells are bay-major, level 1 is the lowest. The mass of air in a cell is constant.

    depth_cells: from front (at the doors) to back; with 1 nothing can be said about evenness along the depth.
    """

    bays: Bay = 6
    levels: Annotated[int, Ge(2), Le(24)] = 12
    depth_cells: Annotated[int, Ge(1), Le(3)] = 1
    width_m: Annotated[float, Ge(0.5), Le(200)] = 10.2  # across the bays
    depth_m: Annotated[float, Ge(1), Le(100)] = 13.0
    height_m: Annotated[float, Ge(0.5), Le(20)] = 5.5
    dry_air_kg: Annotated[float, Ge(1), Le(1e5)] = 734.0
    pressure_Pa: Annotated[float, Ge(60000), Le(110000)] = 101325.0
    leak_kg_per_s: Annotated[float, Ge(0), Le(10)] = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Envelope:
    """Walls, roof and doors: an inner skin with a film of water on it, and the rest of the wall to the outdoors."""

    U_W_per_m2_K: Annotated[float, Gt(0), Le(5)] = 0.11
    skin_J_per_m2_K: Annotated[float, Ge(1000), Le(1e6)] = 3500.0
    inside_m2_K_per_W: Annotated[float, Gt(0), Lt(0.2)] = 0.13  # surface resistance contained in U
    film_hold_kg_per_m2: Annotated[float, Ge(0.001), Le(10)] = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Frames:
    """Door frames, one a door, beside the middle level of its bay: weaker insulation, with trace heating.

    bay_heating_W: heating of each bay's frame, in place of heating_W for all; empty = all alike.
    """

    area_m2: Annotated[float, Ge(0.01), Le(20)] = 2.0
    U_W_per_m2_K: Annotated[float, Gt(0), Le(5)] = 0.5
    skin_J_per_m2_K: Annotated[float, Ge(1000), Le(1e6)] = 20000.0
    heating_W: Annotated[float, Ge(0), Le(5000)] = 60.0
    bay_heating_W: Annotated[tuple[NotNegative, ...], Len(0, BAYS_MAX)] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Floor:
    """Slab under each bay in three layers, insulated towards the ground. Coated: it takes up no water."""

    U_W_per_m2_K: Annotated[float, Gt(0), Le(5)] = 0.2
    layer_m: Annotated[float, Ge(0.01), Le(0.5)] = 0.05
    conductivity_W_per_m_K: Annotated[float, Ge(0.05), Le(5)] = 2.0
    heat_J_per_m3_K: Annotated[float, Ge(1e5), Le(5e6)] = 2.07e6
    ground_degC: Annotated[float, Ge(-40), Le(60)] = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Hall:
    """Air in front of the doors, and the door openings. doors: bays that have one, from 1; empty = every bay."""

    degC: Annotated[float, Ge(-40), Le(60)] = 18.0
    rh_pct: Annotated[float, Ge(0), Le(100)] = 50.0
    doors: Annotated[tuple[Bay, ...], Len(0, BAYS_MAX)] = ()
    door_width_m: Annotated[float, Ge(0.1), Le(20)] = 1.6
    door_height_m: Annotated[float, Ge(0.1), Le(20)] = 5.0
    discharge: Annotated[float, Gt(0), Le(1)] = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """State when the chamber has just been filled: everything at mix temperature."""

    rh_pct: Annotated[float, Ge(0), Le(100)] = 92.0
