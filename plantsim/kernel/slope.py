"""The chamber model as dy/dt = f(y), for solvers from outside: a very short step of the model itself, over its time."""

from __future__ import annotations

from plantsim.kernel.circulation import mixed_return
from plantsim.kernel.equilibrium import settle_air
from plantsim.kernel.hydration import hydrate_level
from plantsim.kernel.jit import entry
from plantsim.kernel.layout import (
    AIR_ROWS,
    BAYS,
    DEPTH,
    G_FOGGY,
    G_RETURN_T,
    K_AIR_KG,
    LEVELS,
    PROBES,
    SIZES,
    Floats,
    Kinds,
    P_AGE_h,
    Whole,
    const_views_compiled,
    state_views_compiled,
)
from plantsim.kernel.step import advance


@entry
def slope(
    y: Floats, const: Floats, whole: Whole, state: Floats, drive: Floats, where: Whole, dt: float, kinds: Kinds,
    dy: Floats,
) -> None:  # fmt: skip
    """Fill dy with dy/dt, per second. state: scratch, which holds what is not in y; where: entries of y in it.

    const, whole, drive, kinds: as for step(), packed for steps of dt. With dt of a millisecond the slope is off by
    less than what the model's own step of a second is off, a thousandth of it.
    """
    bays, depth, levels, probes = whole[BAYS], whole[DEPTH], whole[LEVELS], whole[PROBES]
    at_cell = whole[SIZES : SIZES + bays * depth * levels + bays]
    c = const_views_compiled(const, bays, depth, levels, probes)
    v = state_views_compiled(state, bays, depth, levels, probes)
    for j in range(where.size):
        state[where[j]] = y[j]
    v.gear[G_FOGGY] = 1.0 if settle_air(c.k, v.air, v.work) else 0.0
    v.gear[G_RETURN_T] = mixed_return(c.share, v.air, levels, c.k[K_AIR_KG])[2]
    # The model ages one level in turn, by a whole round; here all age by dt, whichever has its turn.
    for level in range(levels):
        hydrate_level(c.k, c.cell, v.product, level, levels, dt / levels)
    ages = (AIR_ROWS + P_AGE_h) * v.air.shape[1]
    for j in range(where.size):
        dy[j] = (state[where[j]] - y[j]) / dt
    advance(c, v, at_cell, drive, levels, 0, dt, kinds)
    for j in range(where.size):
        if not ages <= where[j] < ages + v.air.shape[1]:
            dy[j] = (state[where[j]] - y[j]) / dt
