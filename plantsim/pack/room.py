"""Floor and envelope: scalars, and one row of constants a skin."""

from __future__ import annotations

import numpy as np

from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats
from plantsim.pack.common import MisfitError
from plantsim.pack.places import count
from plantsim.params import PlantParams

SPECK_M2 = 1e-6


def pack_floor(k: Floats, p: PlantParams) -> None:
    """Constants of the slab into k. MisfitError when its U is more than the slab alone lets through."""
    area = p.room.width_m * p.room.depth_m / (p.room.bays * p.room.depth_cells)
    k[at.K_FLOOR_AREA] = area
    k[at.K_FLOOR_J] = area * p.floor.layer_m * p.floor.heat_J_per_m3_K
    k[at.K_FLOOR_W_K] = area * p.floor.conductivity_W_per_m_K / p.floor.layer_m
    slab = (at.FLOOR_LAYERS - 1) * p.floor.layer_m / p.floor.conductivity_W_per_m_K
    rest = 1.0 / p.floor.U_W_per_m2_K - p.envelope.inside_m2_K_per_W - slab
    if rest <= 0.0:
        most = f"less than {1.0 / (p.envelope.inside_m2_K_per_W + slab):.3g}, what the slab alone lets through"
        raise MisfitError("floor.U_W_per_m2_K", p.floor.U_W_per_m2_K, most, "lower it, or make the slab thinner")
    k[at.K_GROUND_W_K], k[at.K_GROUND_T] = area / rest, p.floor.ground_degC


def pack_walls(wall: Floats, p: PlantParams) -> None:
    """Skins: front and back of the chamber, the end walls, the roof over the highest level; then door frames."""
    env, frames = p.envelope, p.frames
    area, n = wall_area(p), count(p.room)
    bare = area > 0.0
    # A cell without a wall has a speck of one that loses nothing: it follows the air and weighs nothing in the books.
    area = np.where(bare, area, SPECK_M2)
    wall[at.L_M2, :n], wall[at.L_J, :n] = area, area * env.skin_J_per_m2_K
    wall[at.L_OUT_W_K, :n] = bare * area / (1.0 / env.U_W_per_m2_K - env.inside_m2_K_per_W)
    doors = has_door(p)
    wall[at.L_M2, n:], wall[at.L_J, n:] = doors * frames.area_m2, doors * frames.area_m2 * frames.skin_J_per_m2_K
    wall[at.L_OUT_W_K, n:] = doors * frames.area_m2 / (1.0 / frames.U_W_per_m2_K - env.inside_m2_K_per_W)
    heating = frame_W(p)
    wall[at.L_HEATED, n:] = heating / heating.mean() if heating.any() else 1.0


def wall_area(p: PlantParams) -> Floats:
    """Envelope beside each cell, m2; 0 for those in the middle of the chamber."""
    room = p.room
    high, wide, deep = room.height_m / room.levels, room.width_m / room.bays, room.depth_m / room.depth_cells
    area = np.zeros((room.bays, room.depth_cells, room.levels))
    area[:, 0] += wide * high
    area[:, -1] += wide * high
    area[0] += deep * high
    area[-1] += deep * high
    area[:, :, -1] += room.width_m * room.depth_m / (room.bays * room.depth_cells)
    return area.ravel()


def has_door(p: PlantParams) -> Floats:
    """1.0 for each bay with a door, 0.0 for the others. MisfitError for a bay that does not exist."""
    has = np.zeros(p.room.bays)
    for bay in p.hall.doors or range(1, p.room.bays + 1):
        if bay > p.room.bays:
            raise MisfitError("hall.doors", bay, f"this chamber has bays 1..{p.room.bays}", "correct the bay")
        has[bay - 1] = 1.0
    return has


def frame_W(p: PlantParams) -> Floats:
    """Heating of every bay's door frame; 0 where there is no door."""
    given = p.frames.bay_heating_W
    if given and len(given) != p.room.bays:
        limit = f"one entry for each of {p.room.bays} bays"
        raise MisfitError("frames.bay_heating_W", list(given), limit, "give every bay its heating, or none")
    heating = np.array(given if given else [p.frames.heating_W] * p.room.bays)
    return np.asarray(heating * has_door(p))
