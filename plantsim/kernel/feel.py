"""What an instrument that is not plain feels: where it hangs, its body, its film of water, its wick.

Instruments take no heat and no water from the chamber: a probe weighs nothing beside it. A film neither cools its
body; the mounting holds it.
"""

from __future__ import annotations

from math import isnan

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    AIR_T,
    AIR_W,
    C_PRODUCT_M2,
    G_FLOW,
    G_SUPPLY_T,
    G_SUPPLY_W,
    G_VENT,
    K_PRESSURE,
    K_SPEED,
    N_AIR_T,
    N_AIR_W,
    N_BODY_T,
    N_DRIFT,
    N_FILM,
    N_MEMORY,
    N_RESERVOIR,
    N_SALT,
    N_WARM,
    N_WET_T,
    N_WETTED,
    P_SKIN,
    R_AIR_ERROR,
    R_BODY,
    R_BODY_ERROR,
    R_CELL,
    R_CORNER,
    R_DRIFT,
    R_FALL,
    R_FILM_H,
    R_FILM_MOST,
    R_JET,
    R_KIND,
    R_MEMORY,
    R_ODD,
    R_RADIANT,
    R_RH_ERROR,
    R_RISE,
    R_SLOPE,
    R_STRATIFIED,
    R_WALL,
    R_WICK_A,
    R_WICK_AIR,
    S_T,
    Floats,
    Tables,
    Views,
)
from plantsim.kernel.moistair import MOLAR_RATIO, psat, psat_and_slope, tsat, vapour_pressure
from plantsim.kernel.surfaces import LEWIS_J_PER_KG_K

# Kinds in R_KIND: what stands at the source; air and its humidity at a place; body and element of a capacitive probe;
# a warmed probe that gives RH, and one that gives the dew point; a wick.
SOURCE, AIR, AIR_HUMIDITY, BODY, ELEMENT, WARM_HUMIDITY, WARM_DEW, WICK = 0, 1, 2, 3, 4, 5, 6, 7
THIN_KG_PER_M2 = 0.002  # from here on a film covers the whole element; assumed
# Radiation over convection at a wick of 5 mm at 1 m/s: 6 W/m2K over 46 (cross flow, Nu = 0.683 Re**0.466 Pr**(1/3),
# after Hilpert 1933, from memory). It falls with the speed to the power 0.466.
RADIATION_AT_1_M_S, SPEED_POWER = 0.13, 0.466
STILL_M_PER_S, REFERENCE_M_PER_S = 0.1, 3.0
_STEPS_MAX = 20


@inner
def feel(c: Tables, v: Views, number: int, dt: float) -> None:
    """Replace the values of all probes that are not plain by what they feel, and move on what they remember.

    number: of the step; below 0 no time passes. A lost sensor stays NaN.
    """
    p, senses = c.probe, v.senses
    for j in range(p.shape[1]):
        i = int(p[R_ODD, j])
        if i < 0:
            break
        value = v.values[i]
        if isnan(value):
            continue
        kind = int(p[R_KIND, i])
        if kind != SOURCE:
            _arrive(c, v, i, number >= 0)
            own, body_T = p[:, i], _body(c, v, i)
            if kind in (AIR, AIR_HUMIDITY):
                value = body_T
                if kind == AIR_HUMIDITY:
                    value = 100.0 * vapour_pressure(senses[N_AIR_W, i], c.k[K_PRESSURE]) / psat(body_T)
            elif kind == WICK:
                speed = own[R_WICK_AIR] if own[R_WICK_AIR] > 0.0 else c.k[K_SPEED] * max(v.gear[G_FLOW], v.gear[G_VENT])
                value = wick(senses[:, i], body_T, coefficient(own[R_WICK_A], speed), c.k[K_PRESSURE])
            else:
                value = element(own, senses[:, i], kind, body_T, c.k[K_PRESSURE], dt if number >= 0 else 0.0)
        v.values[i] = value * (1.0 + p[R_SLOPE, i]) + senses[N_DRIFT, i] + p[R_DRIFT, i] * max(number, 0) * dt


@inner
def _arrive(c: Tables, v: Views, i: int, lives: bool) -> None:
    """Air at the place of a probe: that of its cell with a share of the jet, warmer by layers, late in a corner."""
    p, here, cell = c.probe, v.senses, int(c.probe[R_CELL, i])
    T, W = v.air[AIR_T, cell], v.air[AIR_W, cell]
    T += p[R_JET, i] * (v.gear[G_SUPPLY_T] - T) + p[R_STRATIFIED, i]
    W += p[R_JET, i] * (v.gear[G_SUPPLY_W] - W)
    if isnan(here[N_AIR_T, i]):
        here[N_AIR_T, i], here[N_AIR_W, i] = T, W
    elif lives:
        here[N_AIR_T, i] += (T - here[N_AIR_T, i]) * p[R_CORNER, i]
        here[N_AIR_W, i] += (W - here[N_AIR_W, i]) * p[R_CORNER, i]


@inner
def _body(c: Tables, v: Views, i: int) -> float:
    """Temperature that a body at the place of a probe tends to, between air, wall and product."""
    p, cell, T = c.probe, int(c.probe[R_CELL, i]), v.senses[N_AIR_T, i]
    loaded = c.cell[C_PRODUCT_M2, cell] > 0.0
    product = v.product[P_SKIN, cell] if loaded else v.board[S_T, cell]
    body: float = T + p[R_WALL, i] * (v.wall[S_T, cell] - T) + p[R_RADIANT, i] * (product - T)
    return body


@inner
def element(own: Floats, here: Floats, kind: int, tends_to_degC: float, pressure_Pa: float, dt: float) -> float:
    """Reading of a capacitive probe, warmed or not, in %RH or degC. own, here: its columns of constants and senses."""
    tends_to = tends_to_degC + here[N_WARM]
    if isnan(here[N_BODY_T]):
        here[N_BODY_T] = tends_to
    elif dt > 0.0:
        here[N_BODY_T] += (tends_to - here[N_BODY_T]) * own[R_BODY]
    T: float = here[N_BODY_T]
    W: float = here[N_AIR_W]
    if kind == BODY:
        return T
    p = psat(T)
    rh: float = min(100.0 * vapour_pressure(W, pressure_Pa) / p, 100.0)
    flow = own[R_FILM_H] / LEWIS_J_PER_KG_K * (W - MOLAR_RATIO * p / (pressure_Pa - p))
    here[N_FILM] = min(max(here[N_FILM] + flow * dt, 0.0), own[R_FILM_MOST])
    rh += min(here[N_FILM] / THIN_KG_PER_M2, 1.0) * (100.0 - rh)
    wanted = own[R_MEMORY] * min(max(0.1 * (rh - 80.0), 0.0), 1.0)
    if dt > 0.0:
        here[N_MEMORY] += (wanted - here[N_MEMORY]) * (own[R_RISE] if wanted > here[N_MEMORY] else own[R_FALL])
    rh += here[N_MEMORY] + own[R_RH_ERROR]
    if kind == ELEMENT:
        return rh
    seen_Pa = 0.01 * min(max(rh, 0.1), 100.0) * psat(T + own[R_BODY_ERROR])
    if kind == WARM_DEW:
        return tsat(seen_Pa)
    shown: float = 100.0 * seen_Pa / psat(tends_to_degC + own[R_AIR_ERROR])
    return shown


@inner
def wick(here: Floats, air_degC: float, coefficient_per_K: float, pressure_Pa: float) -> float:
    """Temperature of a wick: a es(tw) - A p (t - tw) = e, with a its water activity; dry, it has that of the air.

    here: its column of senses.
    """
    vapour_Pa = vapour_pressure(here[N_AIR_W], pressure_Pa)
    activity, Ap = 1.0 - here[N_SALT], coefficient_per_K * pressure_Pa
    t = air_degC if isnan(here[N_WET_T]) else here[N_WET_T]
    for _ in range(_STEPS_MAX):  # convex and rising: Newton runs to the root from either side
        p, slope = psat_and_slope(t)
        step = (vapour_Pa + Ap * (air_degC - t) - activity * p) / (activity * slope + Ap)
        t += step
        if abs(step) < 1e-6:
            break
    here[N_WET_T] = t
    t += here[N_RESERVOIR]
    shown: float = air_degC + here[N_WETTED] * (t - air_degC)
    return shown


@inner
def coefficient(at_reference_per_K: float, air_m_per_s: float) -> float:
    """Psychrometer coefficient in air of this speed: radiation beside convection makes it larger in slow air."""
    slow = RADIATION_AT_1_M_S * max(air_m_per_s, STILL_M_PER_S) ** -SPEED_POWER
    usual: float = RADIATION_AT_1_M_S * REFERENCE_M_PER_S**-SPEED_POWER
    value: float = at_reference_per_K * (1.0 + slow) / (1.0 + usual)
    return value
