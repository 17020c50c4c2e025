"""Exhaust and make-up: two dampers in series with their characteristics, and a heat exchanger between the streams.

Only what the plain vent (one equal-percentage damper, no exchanger) does not need stands here.
"""

from __future__ import annotations

from math import sqrt

from plantsim.kernel.drives import CLOSES, motor
from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    A_AUTHORITY,
    A_COUNT,
    A_KIND,
    A_LEAKAGE,
    A_RANGEABILITY,
    A_X,
    A_Y,
    D_DARK,
    D_OUT_T,
    D_OUT_W,
    G_DAMPER,
    G_MAKEUP,
    G_TRIPPED,
    G_VENT,
    K_DAMPER_FAILS,
    K_FROST_T,
    K_MAKEUP_STEP,
    K_PRESSURE,
    K_RECOVERY,
    K_VENT,
    Floats,
)
from plantsim.kernel.moistair import DRY_AIR_J_PER_KG_K, MOLAR_RATIO, VAPOUR_J_PER_KG_K, enthalpy, flash_near, psat

EQUAL_PERCENTAGE, LINEAR, TABLE = 0, 1, 2  # entries of A_KIND


@inner
def set_vent(k: Floats, damper: Floats, gear: Floats, drive: Floats) -> None:
    """Let the make-up damper follow, and find the flow that both dampers let through.

    Both and the rest of the duct share the pressure of the exhaust fan, A_AUTHORITY of it each when open:
    flow = 1 / sqrt(1 + N1 (1/kv1**2 - 1) + N2 (1/kv2**2 - 1)), resistances in series, flow with the root of pressure.
    """
    wanted = 100.0 if gear[G_TRIPPED] > 0.5 else drive[4]
    gear[G_MAKEUP] = motor(gear[G_MAKEUP], wanted, k[K_MAKEUP_STEP], drive[D_DARK] > 0.5, k[K_DAMPER_FAILS])
    rest = 1.0
    for row in range(2):
        if damper[row, A_AUTHORITY] == 0.0:
            continue
        kv = opening(damper[row], (gear[G_DAMPER] if row == 0 else gear[G_MAKEUP]) / 100.0)
        if kv <= 0.0:
            gear[G_VENT] = 0.0
            return
        rest += damper[row, A_AUTHORITY] * (1.0 / (kv * kv) - 1.0)
    gear[G_VENT] = k[K_VENT] / sqrt(rest)


@inner
def opening(a: Floats, x: float) -> float:
    """Free area of a damper at a position x (0..1) over that of the open one; shut it keeps its leakage."""
    x = min(max(x, 0.0), 1.0)
    kind = int(a[A_KIND])
    if kind == LINEAR:
        kv = x
    elif kind == TABLE:
        kv = _between(a, x)
    else:
        kv = a[A_RANGEABILITY] ** (max(x, CLOSES) - 1.0)
        if x < CLOSES:
            kv *= x / CLOSES
    leakage: float = a[A_LEAKAGE]
    return leakage + (1.0 - leakage) * kv


@inner
def _between(a: Floats, x: float) -> float:
    for i in range(1, int(a[A_COUNT])):
        x0, x1 = a[A_X + i - 1], a[A_X + i]
        if x <= x1:
            y: float = a[A_Y + i - 1] + (a[A_Y + i] - a[A_Y + i - 1]) * (x - x0) / (x1 - x0)
            return y
    return 1.0


@inner
def recover(k: Floats, drive: Floats, h_return: float, w_return: float, t_return: float) -> tuple[float, float, float]:
    """Heat that make-up takes from exhaust, per kg of dry air: (J/kg, water that condenses kg/kg, its degC).

    The make-up air goes the share K_RECOVERY of the way to the return temperature. The exhaust gives as much, cools
    and drops what it can no longer carry; where it would come below K_FROST_T the exchanger is bypassed in part.
    """
    T_out, W_out = drive[D_OUT_T], drive[D_OUT_W]
    heat = k[K_RECOVERY] * (DRY_AIR_J_PER_KG_K + VAPOUR_J_PER_KG_K * W_out) * (t_return - T_out)
    T, W, fog = flash_near(h_return - heat, w_return, k[K_PRESSURE], t_return)
    if k[K_FROST_T] > T and heat > 0.0:
        T = min(k[K_FROST_T], t_return)
        p = psat(T)
        W = min(w_return, MOLAR_RATIO * p / (k[K_PRESSURE] - p))
        fog = w_return - W
        heat = max(h_return - enthalpy(T, W, fog), 0.0)
    return heat, fog, T
