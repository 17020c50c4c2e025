"""Floor and envelope: scalars, and one row of constants a skin."""

from __future__ import annotations

import numpy as np

from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats
from plantsim.params import PlantParams


def pack_floor(k: Floats, p: PlantParams) -> None:
    """Constants of the slab into k. ValueError when its U is more than the slab alone lets through."""
    area = p.room.width_m * p.room.depth_m / p.room.bays
    k[at.K_FLOOR_AREA] = area
    k[at.K_FLOOR_J] = area * p.floor.layer_m * p.floor.heat_J_per_m3_K
    k[at.K_FLOOR_W_K] = area * p.floor.conductivity_W_per_m_K / p.floor.layer_m
    slab = (at.FLOOR_LAYERS - 1) * p.floor.layer_m / p.floor.conductivity_W_per_m_K
    rest = 1.0 / p.floor.U_W_per_m2_K - p.envelope.inside_m2_K_per_W - slab
    if rest <= 0.0:
        raise ValueError("floor.U_W_per_m2_K is more than the slab alone lets through")
    k[at.K_GROUND_W_K], k[at.K_GROUND_T] = area / rest, p.floor.ground_degC


def pack_walls(wall: Floats, p: PlantParams) -> None:
    """Skins: front and back of every cell, the end walls, the roof over the highest level; then door frames."""
    room, env, frames = p.room, p.envelope, p.frames
    n = room.bays * room.levels
    high = room.height_m / room.levels
    area = np.full(n, 2.0 * room.width_m / room.bays * high)
    level, bay = np.arange(n) % room.levels, np.arange(n) // room.levels
    ends = (bay == 0).astype(float) + (bay == room.bays - 1)
    area += ends * room.depth_m * high
    area += (level == room.levels - 1) * (room.width_m * room.depth_m / room.bays)
    wall[at.L_M2, :n], wall[at.L_J, :n] = area, area * env.skin_J_per_m2_K
    wall[at.L_OUT_W_K, :n] = area / (1.0 / env.U_W_per_m2_K - env.inside_m2_K_per_W)
    wall[at.L_M2, n:], wall[at.L_J, n:] = frames.area_m2, frames.area_m2 * frames.skin_J_per_m2_K
    wall[at.L_OUT_W_K, n:] = frames.area_m2 / (1.0 / frames.U_W_per_m2_K - env.inside_m2_K_per_W)
