"""Temperature, vapour and fog of every cell from what is conserved: enthalpy and water."""

from __future__ import annotations

from numba import njit

from plantsim.kernel.layout import AIR_FOG, AIR_H, AIR_RH, AIR_T, AIR_W, AIR_WATER, K_AIR_KG, K_PRESSURE, Floats
from plantsim.kernel.moistair import MOLAR_RATIO, flash_near, psat, temperature_of


@njit(cache=True, error_model="numpy")
def settle_air(k: Floats, air: Floats) -> bool:
    """Bring the derived rows up to date. Returns whether any cell holds fog."""
    P = k[K_PRESSURE]
    M = k[K_AIR_KG]
    moistest = 0.0
    # As if all water were vapour: a plain loop, which compiles to vectors. RH above 1 marks the cells with fog.
    for i in range(air.shape[1]):
        w = air[AIR_WATER, i] / M
        guess = temperature_of(air[AIR_H, i] / M, w)
        air[AIR_W, i] = w
        air[AIR_RH, i] = P * w / ((MOLAR_RATIO + w) * psat(guess))
        moistest = max(moistest, air[AIR_RH, i])
        if air[AIR_RH, i] <= 1.0:
            air[AIR_T, i] = guess
            air[AIR_FOG, i] = 0.0
    if moistest <= 1.0:
        return False
    for i in range(air.shape[1]):
        if air[AIR_RH, i] > 1.0:
            h, w = air[AIR_H, i] / M, air[AIR_W, i]
            air[AIR_T, i], air[AIR_W, i], air[AIR_FOG, i] = flash_near(h, w, P, air[AIR_T, i])
            air[AIR_RH, i] = 1.0
    return True
