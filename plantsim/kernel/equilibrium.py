"""Temperature, vapour and fog of every cell from what is conserved: enthalpy and water."""

from __future__ import annotations

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    AIR_FOG,
    AIR_H,
    AIR_RH,
    AIR_T,
    AIR_W,
    AIR_WATER,
    K_AIR_KG,
    K_PRESSURE,
    X_A,
    X_B,
    X_WS,
    Floats,
)
from plantsim.kernel.moistair import LAST_STEP_K, MOLAR_RATIO, STEPS_MAX, flash_near, flash_step, psat, temperature_of

STRIDE_K = 1.0  # a step as long as this is left to flash_near, which keeps it within bounds


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
    if _find(P, M, H, water, T, RH, dry, work[X_B], work[X_WS], n):
        for i in range(n):
            w = water[i] / M
            W[i] = min(work[X_WS, i], w) if RH[i] > 1.0 else w
            fog[i] = w - W[i]
            T[i] = temperature_of(H[i] / M, W[i], fog[i])
            RH[i] = min(RH[i], 1.0)
        return True
    for i in range(n):
        if RH[i] > 1.0:
            T[i], W[i], fog[i] = flash_near(H[i] / M, W[i], P, T[i])
            RH[i] = 1.0
        else:
            T[i] = temperature_of(H[i] / M, W[i])
            fog[i] = 0.0
    return True


@inner
def _find(
    P: float, M: float, H: Floats, water: Floats, T: Floats, RH: Floats, dry: Floats, t: Floats, W: Floats, n: int
) -> bool:
    """W at saturation of all cells together, by the steps of flash_near, from the temperatures T of the step before.

    Of use where RH is above 1; elsewhere numbers without meaning. False when a cell is too far from where it was.
    """
    for i in range(n):
        t[i] = max(T[i], dry[i])
    for _ in range(STEPS_MAX):
        for i in range(n):
            step, W[i] = flash_step(H[i] / M, water[i] / M, P, t[i])
            dry[i] = step
            t[i] += step
        furthest = 0.0
        for i in range(n):
            if RH[i] > 1.0 and abs(dry[i]) > furthest:
                furthest = abs(dry[i])
        if furthest < LAST_STEP_K:
            return True
        if furthest > STRIDE_K:
            return False
    return False
