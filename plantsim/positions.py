"""Every position of a chamber at a moment, as arrays: for judges, who may know what no probe shows."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats, Tables, Views
from plantsim.loads import Bools, Loads
from plantsim.pack.places import cells_of_positions
from plantsim.params import Room


class Positions(NamedTuple):
    """Arrays of bays x levels; what belongs to product is NaN where none stands. Means over the cells of a position,
    films the worst of them.

    placed_s: when it came (0 = with the chamber); age_h: equivalent age at 20 degC after its own mix, age40_h: at
    40 kJ/mol; gained_kg_per_m2: water out of the air since it came; drying is not subtracted.
    """

    occupied: Bools
    tonnes: Floats
    mix: NDArray[np.object_]
    placed_s: Floats
    inside_s: Floats
    age_h: Floats
    age40_h: Floats
    core_degC: Floats
    skin_degC: Floats
    film_kg_per_m2: Floats
    gained_kg_per_m2: Floats
    board_degC: Floats
    board_film_kg_per_m2: Floats
    air_degC: Floats
    air_rh_pct: Floats


def positions(room: Room, loads: Loads, c: Tables, v: Views, time_s: float) -> Positions:
    """What stands where at time_s, copied."""
    cells = cells_of_positions(room)
    shape = (room.bays, room.levels)
    there = loads.occupied

    def mean(row: Floats) -> Floats:
        return np.asarray(row[cells].mean(axis=1).reshape(shape))

    def worst(row: Floats) -> Floats:
        return np.asarray(row[cells].max(axis=1).reshape(shape))

    def held(values: Floats) -> Floats:
        return np.where(there, values, np.nan)

    area = np.maximum(c.cell[at.C_PRODUCT_M2], 1e-9)
    product = v.product
    return Positions(
        occupied=there.copy(),
        tonnes=loads.tonnes.copy(),
        mix=loads.mix.copy(),
        placed_s=held(loads.placed_s),
        inside_s=held(time_s - loads.placed_s),
        age_h=held(mean(product[at.P_AGE_h])),
        age40_h=held(mean(product[at.P_AGE40_h])),
        core_degC=held(mean(product[at.P_CORE])),
        skin_degC=held(mean(product[at.P_SKIN])),
        film_kg_per_m2=held(worst(product[at.P_FILM] / area)),
        gained_kg_per_m2=held(mean(product[at.P_GAINED] / area)),
        board_degC=mean(v.board[at.S_T]),
        board_film_kg_per_m2=worst(v.board[at.S_FILM] / c.cell[at.C_BOARD_M2]),
        air_degC=mean(v.air[at.AIR_T]),
        air_rh_pct=100.0 * mean(v.air[at.AIR_RH]),
    )
