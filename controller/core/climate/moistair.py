"""Moist air for control: saturation, dew point, moisture content, enthalpy, wet bulb; scalars only.

Saturation pressure over water and its exact inverse are region 4 of IAPWS-IF97 (IAPWS R7-97(2012), equations 30
and 31). It is fitted from 0 degC; below, it runs on smoothly as supercooled water, which is also how outdoor
humidity is reported. Air is an ideal gas without enhancement factor, so moisture content is 0.45-0.7 % lower than
that of real air at one vapour pressure. What cannot be is NaN, and NaN gives NaN: nothing raises.
"""

from __future__ import annotations

from math import isnan, nan, sqrt

STANDARD_PRESSURE_PA = 101325.0
RATIO = 0.621945  # molar mass of water over that of dry air (ASHRAE Handbook Fundamentals 2017, chapter 1)
LATENT_KJ_PER_KG = 2501.0  # vapour at 0 degC, and its heat capacity; ASHRAE 2017 chapter 1, equation 30
VAPOUR_KJ_PER_KGK = 1.86
AIR_KJ_PER_KGK = 1.006
WATER_KJ_PER_KGK = 4.186

# Coefficients n1 to n10 of IF97 region 4.
_N1, _N2, _N3, _N4, _N5 = 1167.0521452767, -724213.16703206, -17.073846940092, 12020.82470247, -3232555.0322333
_N6, _N7, _N8, _N9, _N10 = 14.91510861353, -4823.2657361591, 405113.40542057, -0.23855557567849, 650.17534844798

COLDEST_DEGC, HOTTEST_DEGC = -60.0, 300.0  # outside this no reading of a curing chamber has a meaning
_LOWEST_PA = 1.0  # about -60 degC


def saturation_pressure_Pa(temperature_degC: float) -> float:
    """Vapour pressure in equilibrium with liquid water; NaN outside -60..300 degC."""
    if not COLDEST_DEGC <= temperature_degC <= HOTTEST_DEGC:
        return nan
    kelvin = temperature_degC + 273.15
    theta = kelvin + _N9 / (kelvin - _N10)
    a = (theta + _N1) * theta + _N2
    b = (_N3 * theta + _N4) * theta + _N5
    c = (_N6 * theta + _N7) * theta + _N8
    root = 2.0 * c / (sqrt(b * b - 4.0 * a * c) - b)
    root *= root
    return root * root * 1e6


def saturation_temperature_degC(vapour_pressure_Pa: float) -> float:
    """Exact inverse of saturation_pressure_Pa: the dew point at this vapour pressure; NaN below 1 Pa."""
    if not _LOWEST_PA <= vapour_pressure_Pa <= 8.6e6:
        return nan
    beta = sqrt(sqrt(vapour_pressure_Pa * 1e-6))
    e = (beta + _N3) * beta + _N6
    f = (_N1 * beta + _N4) * beta + _N7
    g = (_N2 * beta + _N5) * beta + _N8
    d = _N10 - 2.0 * g / (f + sqrt(f * f - 4.0 * e * g))
    return 0.5 * (d - sqrt(d * d - 4.0 * (_N9 + _N10 * (d - _N10)))) - 273.15


def vapour_pressure_Pa(temperature_degC: float, rh_pct: float) -> float:
    """Vapour pressure from relative humidity over water; NaN outside 0..110 %RH."""
    if not 0.0 <= rh_pct <= 110.0:
        return nan
    return 0.01 * rh_pct * saturation_pressure_Pa(temperature_degC)


def dew_point_degC(temperature_degC: float, rh_pct: float) -> float:
    """Dew point of air at this temperature and relative humidity."""
    return saturation_temperature_degC(vapour_pressure_Pa(temperature_degC, rh_pct))


def relative_humidity_pct(temperature_degC: float, vapour_pressure_Pa: float) -> float:
    """Relative humidity over water; above 100 the air is supersaturated."""
    return 100.0 * vapour_pressure_Pa / saturation_pressure_Pa(temperature_degC)


def humidity_ratio(vapour_pressure_Pa: float, pressure_Pa: float = STANDARD_PRESSURE_PA) -> float:
    """kg of vapour per kg of dry air; NaN when the vapour alone would exceed the pressure."""
    if not vapour_pressure_Pa < pressure_Pa:
        return nan
    return RATIO * vapour_pressure_Pa / (pressure_Pa - vapour_pressure_Pa)


def vapour_pressure_of_ratio_Pa(ratio: float, pressure_Pa: float = STANDARD_PRESSURE_PA) -> float:
    """Inverse of humidity_ratio; NaN for a negative ratio."""
    return pressure_Pa * ratio / (RATIO + ratio) if ratio >= 0.0 else nan


def saturation_ratio(temperature_degC: float, pressure_Pa: float = STANDARD_PRESSURE_PA) -> float:
    """kg of vapour per kg of dry air at saturation."""
    return humidity_ratio(saturation_pressure_Pa(temperature_degC), pressure_Pa)


def enthalpy_kJ_per_kg(temperature_degC: float, ratio: float) -> float:
    """Per kg of dry air, zero for dry air and liquid water at 0 degC (ASHRAE 2017 chapter 1, equation 30)."""
    vapour = LATENT_KJ_PER_KG + VAPOUR_KJ_PER_KGK * temperature_degC
    return AIR_KJ_PER_KGK * temperature_degC + ratio * vapour


def wet_bulb_degC(temperature_degC: float, ratio: float, pressure_Pa: float = STANDARD_PRESSURE_PA) -> float:
    """Thermodynamic wet bulb: where air saturated adiabatically with water of that same temperature ends.

    Bisection on h(t, W) + (Ws(tw) - W) * h_water(tw) = h(tw, Ws(tw)); good to 1e-6 K. Not for the scan.
    """
    dew = saturation_temperature_degC(vapour_pressure_of_ratio_Pa(ratio, pressure_Pa))
    enthalpy = enthalpy_kJ_per_kg(temperature_degC, ratio)
    lower, upper = dew, temperature_degC
    if isnan(dew) or not COLDEST_DEGC <= temperature_degC <= HOTTEST_DEGC:
        return nan
    while upper - lower > 1e-6:
        middle = 0.5 * (lower + upper)
        saturated = saturation_ratio(middle, pressure_Pa)
        added = (saturated - ratio) * WATER_KJ_PER_KGK * middle
        if enthalpy_kJ_per_kg(middle, saturated) > enthalpy + added:
            upper = middle
        else:
            lower = middle
    return 0.5 * (lower + upper)
