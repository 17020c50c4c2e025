"""The fan's air on any way through the cells: let out where the outlets are, handed on from cell to cell, returned.

C_SUPPLY is the share of the flow that is let out in a cell, C_PASS what leaves it (to the next cell, or at the end of
the way to the return, C_RETURN), C_BEFORE the cell from which it gets what that one passed on. So supply and what
comes from before add up to what passes, for every cell: rows and columns of the flow matrix sum to zero.
"""

from __future__ import annotations

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    AIR_H,
    AIR_T,
    AIR_W,
    AIR_WATER,
    C_BEFORE,
    C_PASS,
    C_RETURN,
    C_SUPPLY,
    X_A,
    X_B,
    Floats,
)


@inner
def pass_through(cell: Floats, air: Floats, work: Floats, kg: float, h_in: float, w_in: float, M: float) -> None:
    """Move kg of dry air once round; every donor gives of its old state. At most half a cell's air at a time."""
    n = air.shape[1]
    out_h, out_w = work[X_A], work[X_B]
    for i in range(n):
        part = kg * cell[C_PASS, i] / M
        out_h[i] = part * air[AIR_H, i]
        out_w[i] = part * air[AIR_WATER, i]
    for i in range(n):
        supplied = kg * cell[C_SUPPLY, i]
        h, w = supplied * h_in, supplied * w_in
        before = int(cell[C_BEFORE, i])
        if before >= 0:
            h += out_h[before]
            w += out_w[before]
        air[AIR_H, i] += h - out_h[i]
        air[AIR_WATER, i] += w - out_w[i]


@inner
def returned(cell: Floats, air: Floats, M: float) -> tuple[float, float, float]:
    """(enthalpy J/kg, water kg/kg, temperature degC) of the mixed return."""
    h, w, t = 0.0, 0.0, 0.0
    for i in range(air.shape[1]):
        share = cell[C_RETURN, i]
        h += share * air[AIR_H, i]
        w += share * air[AIR_WATER, i]
        t += share * air[AIR_T, i]
    return h / M, w / M, t


@inner
def at_outlets(cell: Floats, air: Floats) -> tuple[float, float]:
    """(temperature degC, W kg/kg) of the air beside the outlets: where the spray comes in."""
    T, W = 0.0, 0.0
    for i in range(air.shape[1]):
        T += cell[C_SUPPLY, i] * air[AIR_T, i]
        W += cell[C_SUPPLY, i] * air[AIR_W, i]
    return T, W
