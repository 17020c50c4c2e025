"""Equivalent age and heat of hydration.

Degree of hydration in exponential form, heat = Q exp(-(tau / te)**b) with te the equivalent age after Arrhenius at
20 degC. The form and its use: Freiesleben Hansen and Pedersen (1977), Schindler and Folliard, ACI Materials Journal
102 (2005); both from memory.
"""

from __future__ import annotations

from math import exp

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    C_ACTIVATION,
    C_HYDRATION,
    C_SHAPE,
    C_TAU,
    K_SKIN_SHARE,
    P_CORE,
    P_HEAT,
    P_SKIN,
    Floats,
    P_AGE40_h,
    P_AGE_h,
)

GAS_J_PER_MOL_K = 8.314
REFERENCE_K = 293.15
REPORTED_J_PER_MOL = 40000.0  # at which both sides report equivalent age
YOUNGEST_h = 0.1  # no heat before: the exponential form has 0/0 at the origin


@inner
def rate(temperature_degC: float, activation_J_per_mol: float) -> float:
    """Speed of maturing relative to 20 degC (Arrhenius)."""
    return exp(activation_J_per_mol / GAS_J_PER_MOL_K * (1.0 / REFERENCE_K - 1.0 / (temperature_degC + 273.15)))


@inner
def degree(age_h: float, tau_h: float, shape: float) -> float:
    """Heat released by an equivalent age, as a share of all there is; 0 for fresh concrete."""
    if age_h < YOUNGEST_h:
        return 0.0
    return exp(-((tau_h / age_h) ** shape))


@inner
def degree_per_h(age_h: float, tau_h: float, shape: float) -> float:
    """Its derivative by equivalent age, 1/h."""
    if age_h < YOUNGEST_h:
        return 0.0
    x: float = (tau_h / age_h) ** shape
    return exp(-x) * x * shape / age_h


@inner
def hydrate_level(k: Floats, cell: Floats, product: Floats, level: int, levels: int, dt: float) -> None:
    """Age one level of all columns by a whole round of levels * dt and set its heat until its next turn.

    Concrete changes over hours: a turn every few seconds costs a twelfth and changes nothing.
    """
    hours = levels * dt / 3600.0
    for i in range(level, product.shape[1], levels):
        T = k[K_SKIN_SHARE] * product[P_SKIN, i] + (1.0 - k[K_SKIN_SHARE]) * product[P_CORE, i]
        product[P_AGE40_h, i] += hours * rate(T, REPORTED_J_PER_MOL)
        speed = rate(T, cell[C_ACTIVATION, i])
        middle = product[P_AGE_h, i] + 0.5 * hours * speed
        product[P_AGE_h, i] += hours * speed
        per_s = degree_per_h(middle, cell[C_TAU, i], cell[C_SHAPE, i]) * speed / 3600.0
        product[P_HEAT, i] = cell[C_HYDRATION, i] * per_s
