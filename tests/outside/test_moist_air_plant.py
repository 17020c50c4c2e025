"""The chamber model's moist air against CoolProp, psychrolib and values that ASHRAE publishes."""

from __future__ import annotations

import psychrolib
import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI
from scipy.optimize import brentq

from plantsim.kernel.moistair import (
    LIQUID_J_PER_KG_K,
    dew_point,
    enthalpy,
    flash,
    humidity_ratio,
    psat,
    psat_and_slope,
    relative_humidity,
    saturated_W,
    tsat,
    vapour_enthalpy,
)

psychrolib.SetUnitSystem(psychrolib.SI)

SEA_LEVEL_Pa = 101325.0
TEMPERATURES_degC = (0.01, *range(5, 95, 5))
# (degC, fraction of saturation, Pa): from winter make-up air to a hot dry core, and three heights above sea.
STATES = [
    (32.0, 0.98, SEA_LEVEL_Pa),
    (32.0, 1.00, SEA_LEVEL_Pa),
    (40.0, 0.95, SEA_LEVEL_Pa),
    (38.0, 0.98, SEA_LEVEL_Pa),
    (35.0, 0.95, SEA_LEVEL_Pa),
    (30.0, 0.90, SEA_LEVEL_Pa),
    (28.0, 0.92, SEA_LEVEL_Pa),
    (25.0, 0.50, SEA_LEVEL_Pa),
    (25.0, 1.00, SEA_LEVEL_Pa),
    (20.0, 0.60, SEA_LEVEL_Pa),
    (10.0, 0.90, SEA_LEVEL_Pa),
    (5.0, 0.80, SEA_LEVEL_Pa),
    (45.0, 0.70, SEA_LEVEL_Pa),
    (60.0, 0.90, SEA_LEVEL_Pa),
    (80.0, 0.30, SEA_LEVEL_Pa),
    (32.0, 0.98, 95460.0),
    (32.0, 0.98, 89874.0),
    (32.0, 0.98, 79495.0),
    (40.0, 0.95, 89874.0),
]


def content(temperature_degC: float, rh: float, pressure_Pa: float) -> float:
    return humidity_ratio(rh * psat(temperature_degC), pressure_Pa)


@pytest.mark.outside("library: CoolProp, IF97::Water")
@pytest.mark.parametrize("t", TEMPERATURES_degC)
def test_saturation_is_that_of_if97_both_ways(t):
    reference = PropsSI("P", "T", t + 273.15, "Q", 0, "IF97::Water")
    assert psat(t) == pytest.approx(reference, rel=1e-9)
    assert tsat(reference) == pytest.approx(t, abs=1e-7)
    assert psat_and_slope(t)[0] == pytest.approx(psat(t), rel=1e-14)


@pytest.mark.outside("library: CoolProp, IAPWS-95 (HEOS::Water); IF97 may differ by 0.01 %")
@pytest.mark.parametrize("t", TEMPERATURES_degC[1:])
def test_saturation_is_that_of_iapws_95(t):
    assert psat(t) == pytest.approx(PropsSI("P", "T", t + 273.15, "Q", 0, "Water"), rel=1e-4)


@pytest.mark.outside("library: psychrolib 2.5, Hyland-Wexler; IF97 differs by up to 0.018 %")
@pytest.mark.parametrize("t", TEMPERATURES_degC)
def test_saturation_is_that_of_psychrolib(t):
    assert psat(t) == pytest.approx(psychrolib.GetSatVapPres(float(t)), rel=3e-4)


@pytest.mark.outside(
    "published: ASHRAE Handbook Fundamentals 2017, ch. 1, table 3, as quoted by the tests of psychrolib"
)
@pytest.mark.parametrize(("t", "Pa"), [(5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3), (100.0, 101418.0)])
def test_saturation_is_that_of_the_ashrae_table(t, Pa):
    assert psat(t) == pytest.approx(Pa, rel=3e-4)


@pytest.mark.outside("memory: IAPWS R7-97(2012), tables 35 and 36")
def test_verification_values_of_if97():
    assert psat(300.0 - 273.15) == pytest.approx(3536.58941, rel=1e-8)
    assert psat(500.0 - 273.15) == pytest.approx(2638897.76, rel=1e-8)
    assert tsat(1e5) + 273.15 == pytest.approx(372.755919, abs=1e-6)
    assert tsat(1e6) + 273.15 == pytest.approx(453.035632, abs=1e-6)


@pytest.mark.outside("library: CoolProp, IF97::Water, difference quotient over 2 mK")
@pytest.mark.parametrize("t", [5.0, 20.0, 32.0, 45.0, 60.0, 90.0])
def test_the_slope_of_saturation(t):
    above, below = (PropsSI("P", "T", t + 273.15 + d, "Q", 0, "IF97::Water") for d in (1e-3, -1e-3))
    assert psat_and_slope(t)[1] == pytest.approx((above - below) / 2e-3, rel=1e-6)


@pytest.mark.outside("library: psychrolib 2.5: ideal gas as here, so only saturation differs, 0.03 %")
@pytest.mark.parametrize(("t", "rh", "p"), STATES)
def test_states_agree_with_psychrolib(t, rh, p):
    W = content(t, rh, p)
    # W follows the vapour pressure by 1 + W/0.622: 0.018 % of pressure is up to 0.022 % of W.
    assert pytest.approx(psychrolib.GetHumRatioFromRelHum(t, rh, p), rel=3e-4) == W
    assert dew_point(W, p) == pytest.approx(psychrolib.GetTDewPointFromRelHum(t, rh), abs=0.01)
    assert enthalpy(t, W) == pytest.approx(psychrolib.GetMoistAirEnthalpy(t, W), rel=1e-9)
    assert relative_humidity(t, W, p) == pytest.approx(rh, rel=1e-12)


@pytest.mark.outside(
    "library: CoolProp, HAPropsSI: real gas; W 0.6 % to 45 degC and 0.8 % above, h 0.55 %, dew point 0.01 K"
)
@pytest.mark.parametrize(("t", "rh", "p"), STATES)
def test_states_agree_with_coolprop(t, rh, p):
    W = content(t, rh, p)
    given = ("T", t + 273.15, "P", p, "R", rh)
    assert pytest.approx(HAPropsSI("W", *given), rel=6e-3 if t <= 45.0 else 8e-3) == W
    assert enthalpy(t, W) == pytest.approx(HAPropsSI("H", *given), rel=5.5e-3)
    assert dew_point(W, p) + 273.15 == pytest.approx(HAPropsSI("D", *given), abs=0.01)


@pytest.mark.outside(
    "library: CoolProp, IF97::Water: enthalpy of saturated steam; the straight line leaves it by 0.34 % at 90"
)
@pytest.mark.parametrize("t", [5.0, 20.0, 32.0, 40.0, 60.0, 90.0])
def test_the_enthalpy_of_vapour(t):
    assert vapour_enthalpy(t) == pytest.approx(PropsSI("H", "T", t + 273.15, "Q", 1, "IF97::Water"), rel=3.5e-3)


@pytest.mark.outside("library: psychrolib 2.5, GetTWetBulbFromRelHum, 0.003 K; CoolProp, HAPropsSI wet bulb, 0.02 K")
@pytest.mark.parametrize(("t", "rh"), [(40.0, 0.2), (35.0, 0.5), (30.0, 0.3), (60.0, 0.1), (32.0, 0.9)])
def test_adiabatic_saturation_ends_at_the_wet_bulb(t, rh):
    """Air takes up water of the temperature at which it ends: where that is, by brentq on enthalpies, is the wet
    bulb; flash must find the same without fog, and with 2 g/kg more of that water with just that as fog.
    """
    W = content(t, rh, SEA_LEVEL_Pa)

    def after(end: float, more: float = 0.0) -> tuple[float, float]:
        water = saturated_W(end, SEA_LEVEL_Pa) + more
        return enthalpy(t, W) + (water - W) * LIQUID_J_PER_KG_K * end, water

    own = brentq(lambda end: after(end)[0] - enthalpy(end, after(end)[1]), 0.0, t, xtol=1e-12)
    assert own == pytest.approx(psychrolib.GetTWetBulbFromRelHum(t, rh, SEA_LEVEL_Pa), abs=0.003)
    assert own + 273.15 == pytest.approx(HAPropsSI("B", "T", t + 273.15, "P", SEA_LEVEL_Pa, "R", rh), abs=0.02)
    assert flash(*after(own), SEA_LEVEL_Pa)[0] == pytest.approx(own, abs=1e-9)
    found, _, fog = flash(*after(own, 2e-3), SEA_LEVEL_Pa)
    assert found == pytest.approx(own, abs=1e-9)
    assert fog == pytest.approx(2e-3, abs=1e-11)
