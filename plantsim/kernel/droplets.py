"""Droplets that land: what the nozzles sprayed and did not evaporate, and fog that settles out of the cells.

They are accounted apart from condensate: they wet surfaces that are warmer than the dew point too.
"""

from __future__ import annotations

from math import exp

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    AIR_FOG,
    AIR_H,
    AIR_T,
    AIR_WATER,
    B_ABS,
    B_ABS_J,
    B_FOG,
    B_FOG_J,
    B_LANDED,
    C_LAND,
    G_EVAPORATED,
    G_FOG_KG,
    G_FOGGY,
    K_AIR_KG,
    K_FOG_T,
    K_SETTLE,
    X_LANDED,
    X_LANDED_J,
    Floats,
)
from plantsim.kernel.moistair import LIQUID_J_PER_KG_K


@inner
def land(k: Floats, cell: Floats, air: Floats, work: Floats, gear: Floats, books: Floats, dt: float) -> None:
    """Fill the scratch rows with what lands in every cell in dt (kg, J)."""
    spray = gear[G_FOG_KG] * (1.0 - gear[G_EVAPORATED])
    n = air.shape[1]
    if spray == 0.0 and gear[G_FOGGY] < 0.5:
        for i in range(n):
            work[X_LANDED, i] = 0.0
            work[X_LANDED_J, i] = 0.0
        return
    spray_J = spray * LIQUID_J_PER_KG_K * k[K_FOG_T]
    books[B_FOG] += spray
    books[B_FOG_J] += spray_J
    books[B_ABS] += spray
    books[B_ABS_J] += abs(spray_J)
    settled = 1.0 - exp(-k[K_SETTLE] * dt)
    total = 0.0
    for i in range(n):
        # No more than is still there: the fog row is of the step before.
        kg = min(settled * air[AIR_FOG, i] * k[K_AIR_KG], 0.5 * air[AIR_WATER, i])
        energy = kg * LIQUID_J_PER_KG_K * air[AIR_T, i]
        air[AIR_WATER, i] -= kg
        air[AIR_H, i] -= energy
        work[X_LANDED, i] = kg + cell[C_LAND, i] * spray
        work[X_LANDED_J, i] = energy + cell[C_LAND, i] * spray_J
        total += work[X_LANDED, i]
    books[B_LANDED] += total
