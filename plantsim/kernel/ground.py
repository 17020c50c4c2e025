"""The slab under each column: three layers of concrete between the lowest air and the ground."""

from __future__ import annotations

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    AIR_H,
    AIR_T,
    B_ABS_J,
    B_FLOOR_J,
    FLOOR_LAYERS,
    K_FLOOR_AREA,
    K_FLOOR_J,
    K_FLOOR_W_K,
    K_GROUND_T,
    K_GROUND_W_K,
    Floats,
)


@inner
def conduct_floor(k: Floats, air: Floats, floor: Floats, books: Floats, levels: int, h_c: float, dt: float) -> None:
    """Heat from the lowest cell of each column through its slab to the ground, for dt."""
    lost, lost_abs = 0.0, 0.0
    for b in range(floor.shape[1]):
        i = b * levels
        heat = h_c * k[K_FLOOR_AREA] * dt * (air[AIR_T, i] - floor[0, b])
        air[AIR_H, i] -= heat
        for layer in range(FLOOR_LAYERS - 1):
            on = k[K_FLOOR_W_K] * dt * (floor[layer, b] - floor[layer + 1, b])
            floor[layer, b] += (heat - on) / k[K_FLOOR_J]
            heat = on
        out = k[K_GROUND_W_K] * dt * (k[K_GROUND_T] - floor[FLOOR_LAYERS - 1, b])
        floor[FLOOR_LAYERS - 1, b] += (heat + out) / k[K_FLOOR_J]
        lost += out
        lost_abs += abs(out)
    books[B_FLOOR_J] += lost
    books[B_ABS_J] += lost_abs
