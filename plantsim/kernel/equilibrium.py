"""Temperature, vapour and fog of every cell from what is conserved: enthalpy and water."""

from __future__ import annotations

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import AIR_FOG, AIR_H, AIR_RH, AIR_T, AIR_W, AIR_WATER, K_AIR_KG, K_PRESSURE, X_A, Floats
from plantsim.kernel.moistair import MOLAR_RATIO, flash_near, psat, temperature_of


@inner
def settle_air(k: Floats, air: Floats, work: Floats) -> bool:
    """Bring the derived rows up to date. Returns whether any cell holds fog."""
    P = k[K_PRESSURE]
    M = k[K_AIR_KG]
    n = air.shape[1]
    H, water, T, W = air[AIR_H], air[AIR_WATER], air[AIR_T], air[AIR_W]
    fog, RH = air[AIR_FOG], air[AIR_RH]
    dry = work[X_A]
    # As if all water were vapour. Plain loops, which compile to vectors; RH above 1 then marks the cells with fog.
    for i in range(n):
        w = water[i] / M
        W[i] = w
        dry[i] = temperature_of(H[i] / M, w)
    for i in range(n):
        RH[i] = P * W[i] / ((MOLAR_RATIO + W[i]) * psat(dry[i]))
    moistest = 0.0
    for i in range(n):
        if RH[i] > moistest:
            moistest = RH[i]
    if moistest <= 1.0:
        for i in range(n):
            T[i] = dry[i]
            fog[i] = 0.0
        return False
    for i in range(n):
        if RH[i] > 1.0:
            T[i], W[i], fog[i] = flash_near(H[i] / M, W[i], P, T[i])
            RH[i] = 1.0
        else:
            T[i] = dry[i]
            fog[i] = 0.0
    return True
