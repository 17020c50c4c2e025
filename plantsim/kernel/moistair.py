"""Moist air of the chamber model: saturation, moisture content, enthalpy, and the flash that makes fog.

Temperatures in degC, pressures in Pa, moisture contents in kg water per kg dry air, enthalpies in J per kg of
dry air. Saturation is IAPWS R7-97(2012) (IF97), region 4, equations 30 and 31, coefficients of its table 34.
Below 0 degC the same curve is continued as supercooled water. Air and vapour are ideal gases (no enhancement
factor: 0.5 % of W).
"""

from __future__ import annotations

from math import sqrt

from plantsim.kernel.jit import shared

# Ratio of the molar masses of water and dry air. Source: ASHRAE Handbook Fundamentals 2017, ch. 1, eq. 20.
MOLAR_RATIO = 0.621945
# Enthalpy above liquid water and dry air at 0 degC. Source: ASHRAE 2017, ch. 1, eq. 30 (in kJ there).
DRY_AIR_J_PER_KG_K = 1006.0
VAPOUR_J_PER_KG_K = 1860.0
LATENT_0_J_PER_KG = 2.501e6
LIQUID_J_PER_KG_K = 4186.0
HUMID_AIR_J_PER_KG_K = 1062.0  # of moist air, per kg of dry air at 30 g/kg

# Source: IAPWS R7-97(2012), table 34.
N1, N2, N3 = 0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2
N4, N5, N6 = 0.12020824702470e5, -0.32325550322333e7, 0.14915108613530e2
N7, N8, N9, N10 = -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3

STEPS_MAX = 40  # Newton needs 2 to 5; the bound only keeps a NaN from looping
LAST_STEP_K = 1e-5


@shared
def psat(temperature_degC: float) -> float:
    """Saturation pressure over liquid water, Pa. IF97 equation 30; 0.007 % below IAPWS-95 at 36 degC."""
    K = temperature_degC + 273.15
    th = K + N9 / (K - N10)
    A = (th + N1) * th + N2
    B = (N3 * th + N4) * th + N5
    C = (N6 * th + N7) * th + N8
    beta = 2.0 * C / (sqrt(B * B - 4.0 * A * C) - B)
    square = beta * beta
    return 1e6 * square * square


@shared
def psat_and_slope(temperature_degC: float) -> tuple[float, float]:
    """Saturation pressure (Pa) and its exact derivative (Pa/K), from the implicit form A b2 + B b + C = 0."""
    K = temperature_degC + 273.15
    gap = K - N10
    th = K + N9 / gap
    A = (th + N1) * th + N2
    B = (N3 * th + N4) * th + N5
    C = (N6 * th + N7) * th + N8
    beta = 2.0 * C / (sqrt(B * B - 4.0 * A * C) - B)
    dA = 2.0 * th + N1
    dB = 2.0 * N3 * th + N4
    dC = 2.0 * N6 * th + N7
    dbeta = -((dA * beta + dB) * beta + dC) / (2.0 * A * beta + B) * (1.0 - N9 / (gap * gap))
    cube = beta * beta * beta
    return 1e6 * cube * beta, 4e6 * cube * dbeta


@shared
def tsat(pressure_Pa: float) -> float:
    """Saturation temperature, degC: the closed-form inverse of psat (IF97 equation 31)."""
    beta = sqrt(sqrt(pressure_Pa * 1e-6))
    E = (beta + N3) * beta + N6
    F = (N1 * beta + N4) * beta + N7
    G = (N2 * beta + N5) * beta + N8
    D = 2.0 * G / (-F - sqrt(F * F - 4.0 * E * G))
    total = N10 + D
    return 0.5 * (total - sqrt(total * total - 4.0 * (N9 + N10 * D))) - 273.15


@shared
def humidity_ratio(vapour_Pa: float, pressure_Pa: float) -> float:
    """Moisture content W of air whose vapour pressure is vapour_Pa (< pressure_Pa)."""
    return MOLAR_RATIO * vapour_Pa / (pressure_Pa - vapour_Pa)


@shared
def vapour_pressure(W: float, pressure_Pa: float) -> float:
    """Vapour pressure, Pa, of air with moisture content W: the inverse of humidity_ratio."""
    return pressure_Pa * W / (MOLAR_RATIO + W)


@shared
def saturated_W(temperature_degC: float, pressure_Pa: float) -> float:
    """Moisture content at saturation over liquid water."""
    p = psat(temperature_degC)
    return MOLAR_RATIO * p / (pressure_Pa - p)


@shared
def relative_humidity(temperature_degC: float, W: float, pressure_Pa: float) -> float:
    """Relative humidity as a fraction, 1.0 = saturated over liquid water."""
    return pressure_Pa * W / ((MOLAR_RATIO + W) * psat(temperature_degC))


@shared
def dew_point(W: float, pressure_Pa: float) -> float:
    """Dew point, degC, of air with moisture content W > 0."""
    return tsat(pressure_Pa * W / (MOLAR_RATIO + W))


@shared
def vapour_enthalpy(temperature_degC: float) -> float:
    """Enthalpy of water vapour, J/kg, above liquid water at 0 degC."""
    return LATENT_0_J_PER_KG + VAPOUR_J_PER_KG_K * temperature_degC


@shared
def enthalpy(temperature_degC: float, W: float, fog: float = 0.0) -> float:
    """Enthalpy of moist air with `fog` kg of droplets per kg dry air, J per kg dry air."""
    sensible = DRY_AIR_J_PER_KG_K + VAPOUR_J_PER_KG_K * W + LIQUID_J_PER_KG_K * fog
    return sensible * temperature_degC + LATENT_0_J_PER_KG * W


@shared
def temperature_of(enthalpy_J_per_kg: float, W: float, fog: float = 0.0) -> float:
    """Temperature, degC, of air with known enthalpy, vapour and droplets: the inverse of enthalpy()."""
    sensible = DRY_AIR_J_PER_KG_K + VAPOUR_J_PER_KG_K * W + LIQUID_J_PER_KG_K * fog
    return (enthalpy_J_per_kg - LATENT_0_J_PER_KG * W) / sensible


@shared
def flash(enthalpy_J_per_kg: float, water: float, pressure_Pa: float) -> tuple[float, float, float]:
    """Equilibrium of air that holds `water` kg per kg dry air in all: (temperature_degC, W, fog).

    Enthalpy and water are conserved exactly: fog is water - W, and temperature follows from the enthalpy.
    Needs water >= 0 and a dew point of all the water below boiling.
    """
    return flash_near(enthalpy_J_per_kg, water, pressure_Pa, temperature_of(enthalpy_J_per_kg, water))


@shared
def flash_near(
    enthalpy_J_per_kg: float, water: float, pressure_Pa: float, guess_degC: float
) -> tuple[float, float, float]:
    """flash() started from a guess (the temperature of the step before): same answer, fewer Newton steps in fog.

    While all water fits as vapour there is no fog; else the air is saturated and Newton finds where. The residual
    is convex and rising, and its root lies between the all-vapour temperature and the dew point of all the water;
    a long step is cut at that dew point, so the search cannot run away.
    """
    dry = temperature_of(enthalpy_J_per_kg, water)
    p = psat(dry)
    # As products: no boiling point to fall over when hot air is asked about.
    if MOLAR_RATIO * p >= water * (pressure_Pa - p):
        return dry, water, 0.0
    t = max(guess_degC, dry)
    for _ in range(STEPS_MAX):
        step, W = flash_step(enthalpy_J_per_kg, water, pressure_Pa, t)
        t += step
        if abs(step) < LAST_STEP_K:
            W = min(W, water)
            break
        if step > 1.0:
            t = min(t, dew_point(water, pressure_Pa))
    fog = water - W
    return temperature_of(enthalpy_J_per_kg, W, fog), W, fog


@shared
def flash_step(enthalpy_J_per_kg: float, water: float, pressure_Pa: float, t_degC: float) -> tuple[float, float]:
    """(Newton's step in K toward the equilibrium of air with fog, W at saturation after it).

    Quadratic: after a short step what is left is far below rounding, so W follows along its slope.
    """
    p, slope = psat_and_slope(t_degC)
    free = pressure_Pa - p
    W = MOLAR_RATIO * p / free
    dW = MOLAR_RATIO * pressure_Pa * slope / (free * free)
    per_K = DRY_AIR_J_PER_KG_K + VAPOUR_J_PER_KG_K * W + LIQUID_J_PER_KG_K * (water - W)
    lift = LATENT_0_J_PER_KG + (VAPOUR_J_PER_KG_K - LIQUID_J_PER_KG_K) * t_degC
    step = (enthalpy_J_per_kg - per_K * t_degC - LATENT_0_J_PER_KG * W) / (per_K + dW * lift)
    return step, W + dW * step
