"""Energy and water that a chamber holds, by definition: from temperatures, moisture, fog and films only."""

from __future__ import annotations

import numpy as np

from plantsim.chamber import Chamber
from plantsim.kernel import layout as at

LIQUID = 4186.0  # J/kgK


def energy_J(model: Chamber) -> float:
    """Above liquid water, dry air and solids of 0 degC. Heat that concrete has still to set free is not stored."""
    c, v = model.constants, model.state
    M, air = c.k[at.K_AIR_KG], v.air
    T, W, fog = air[at.AIR_T], air[at.AIR_W], air[at.AIR_FOG]
    moist = M * (1006.0 * T + W * (2.501e6 + 1860.0 * T) + fog * LIQUID * T)
    wet = LIQUID * (v.product[at.P_FILM] + v.product[at.P_INNER])
    skin = (c.cell[at.C_SKIN_J] + wet) * v.product[at.P_SKIN]
    core = c.cell[at.C_CORE_J] * v.product[at.P_CORE]
    boards = (c.cell[at.C_BOARD_J] + LIQUID * v.board[at.S_FILM]) * v.board[at.S_T]
    walls = (c.wall[at.L_J] + LIQUID * v.wall[at.S_FILM]) * v.wall[at.S_T]
    floor = c.k[at.K_FLOOR_J] * v.floor
    return float(sum(np.sum(part) for part in (moist, skin, core, boards, walls, floor)))


def water_kg(model: Chamber) -> float:
    """In the air, in and on the product, on boards, envelope and frames."""
    v = model.state
    air = model.constants.k[at.K_AIR_KG] * (v.air[at.AIR_W] + v.air[at.AIR_FOG])
    product = v.product[at.P_FILM] + v.product[at.P_INNER]
    return float(sum(np.sum(part) for part in (air, product, v.board[at.S_FILM], v.wall[at.S_FILM])))
