"""The controller's moist air against libraries and published tables.

Library: CoolProp (IF97 backend, and real moist air with enhancement factor) and psychrolib (ideal gas, Hyland and
Wexler's saturation). Published: ASHRAE Handbook Fundamentals 2017 chapter 1 (seen as
quoted in psychrolib's own test suite).
"""

from __future__ import annotations

import CoolProp.CoolProp as coolprop
import psychrolib
import pytest

from controller.core.climate import moistair

psychrolib.SetUnitSystem(psychrolib.SI)

SEA = 101325.0
STATES = [  # degC, %RH, Pa: the whole range of curing, outdoor air and some site altitudes
    (32.0, 98.0, SEA),
    (32.0, 100.0, SEA),
    (40.0, 95.0, SEA),
    (38.0, 98.0, SEA),
    (35.0, 95.0, SEA),
    (30.0, 90.0, SEA),
    (28.0, 92.0, SEA),
    (25.0, 50.0, SEA),
    (25.0, 100.0, SEA),
    (20.0, 60.0, SEA),
    (10.0, 90.0, SEA),
    (5.0, 80.0, SEA),
    (45.0, 70.0, SEA),
    (60.0, 90.0, SEA),
    (80.0, 30.0, SEA),
    (32.0, 98.0, 95460.0),
    (32.0, 98.0, 89874.0),
    (32.0, 98.0, 79495.0),
    (40.0, 95.0, 89874.0),
]


def ours(t: float, rh: float, pressure: float) -> tuple[float, float, float, float]:
    """W, dew point, wet bulb, enthalpy in kJ/kg."""
    ratio = moistair.humidity_ratio(moistair.vapour_pressure_Pa(t, rh), pressure)
    return (
        ratio,
        moistair.dew_point_degC(t, rh),
        moistair.wet_bulb_degC(t, ratio, pressure),
        moistair.enthalpy_kJ_per_kg(t, ratio),
    )


@pytest.mark.outside("library: CoolProp, IF97 backend")
@pytest.mark.parametrize("t", [0.5, 5, 10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 75, 80, 85, 90])
def test_saturation_pressure_is_that_of_if97(t: float) -> None:
    published = coolprop.PropsSI("P", "T", t + 273.15, "Q", 0, "IF97::Water")
    assert moistair.saturation_pressure_Pa(t) == pytest.approx(published, rel=1e-9)


@pytest.mark.outside("memory: IAPWS R7-97(2012), tables 35 and 36; CoolProp gives the same")
def test_if97_verification_values_both_ways() -> None:
    assert moistair.saturation_pressure_Pa(300.0 - 273.15) == pytest.approx(3536.58941, rel=1e-8)
    assert moistair.saturation_pressure_Pa(500.0 - 273.15) == pytest.approx(2638897.76, rel=1e-8)
    assert moistair.saturation_temperature_degC(1e5) + 273.15 == pytest.approx(372.755919, abs=1e-6)
    assert moistair.saturation_temperature_degC(1e6) + 273.15 == pytest.approx(453.035632, abs=1e-6)


@pytest.mark.outside("published: ASHRAE Fundamentals 2017 ch. 1 table 3, as quoted in psychrolib's tests")
@pytest.mark.parametrize(("t", "pascal"), [(5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3), (100.0, 101418.0)])
def test_saturation_pressure_is_that_of_the_ashrae_table(t: float, pascal: float) -> None:
    assert moistair.saturation_pressure_Pa(t) == pytest.approx(pascal, rel=3e-4)


@pytest.mark.outside("library: CoolProp, IAPWS-95 (HEOS::Water)")
@pytest.mark.parametrize("t", [5.0, 20.0, 32.0, 40.0, 60.0, 90.0])
def test_saturation_pressure_is_close_to_iapws95(t: float) -> None:
    published = coolprop.PropsSI("P", "T", t + 273.15, "Q", 0, "Water")
    assert moistair.saturation_pressure_Pa(t) == pytest.approx(published, rel=8e-5)


@pytest.mark.outside("library: psychrolib, ideal gas")
@pytest.mark.parametrize(("t", "rh", "pressure"), STATES)
def test_states_are_those_of_psychrolib(t: float, rh: float, pressure: float) -> None:
    """Same gas model, other saturation formula: what differs is the formula, 0.03 % at most."""
    ratio, dew, wet, enthalpy = ours(t, rh, pressure)
    theirs = psychrolib.GetHumRatioFromRelHum(t, rh / 100.0, pressure)
    assert ratio == pytest.approx(theirs, rel=5e-4)
    assert dew == pytest.approx(psychrolib.GetTDewPointFromRelHum(t, rh / 100.0), abs=0.01)
    assert wet == pytest.approx(psychrolib.GetTWetBulbFromRelHum(t, rh / 100.0, pressure), abs=0.02)
    assert enthalpy == pytest.approx(psychrolib.GetMoistAirEnthalpy(t, theirs) / 1000.0, rel=5e-4)


@pytest.mark.outside("library: CoolProp HAPropsSI, real moist air")
@pytest.mark.parametrize(("t", "rh", "pressure"), STATES)
def test_states_are_close_to_real_moist_air(t: float, rh: float, pressure: float) -> None:
    """Real air holds 0.4-0.7 % more vapour (enhancement factor), which an ideal gas leaves out."""
    ratio, dew, wet, enthalpy = ours(t, rh, pressure)
    state = ("T", t + 273.15, "R", rh / 100.0, "P", pressure)
    assert ratio == pytest.approx(coolprop.HAPropsSI("W", *state), rel=6e-3 if t <= 45.0 else 8e-3)
    assert dew == pytest.approx(coolprop.HAPropsSI("D", *state) - 273.15, abs=0.01)
    assert wet == pytest.approx(coolprop.HAPropsSI("B", *state) - 273.15, abs=0.02)
    assert enthalpy == pytest.approx(coolprop.HAPropsSI("H", *state) / 1000.0, rel=5.5e-3)


@pytest.mark.outside("published: ASHRAE Fundamentals 2017 ch. 1 example 1, as quoted in psychrolib's tests")
def test_ashrae_example_of_40_dry_and_20_wet() -> None:
    """W 0.0065 from dry and wet bulb; so the wet bulb of that W must be 20 degC, its dew point 7, RH 14 %, h 56.7.

    The example reads them from the chart, in whole degrees.
    """
    ratio = 0.0065
    vapour = moistair.vapour_pressure_of_ratio_Pa(ratio)
    assert moistair.wet_bulb_degC(40.0, ratio) == pytest.approx(20.0, abs=0.1)
    assert moistair.saturation_temperature_degC(vapour) == pytest.approx(7.0, abs=1.0)
    assert moistair.relative_humidity_pct(40.0, vapour) == pytest.approx(14.0, abs=0.5)
    assert moistair.enthalpy_kJ_per_kg(40.0, ratio) == pytest.approx(56.7, rel=0.01)


@pytest.mark.outside("published: ASHRAE Fundamentals 2017 ch. 1 table 2, as quoted in psychrolib's tests")
@pytest.mark.parametrize(
    ("t", "ratio", "enthalpy"), [(5.0, 0.005425, 18.639), (25.0, 0.020173, 76.504), (50.0, 0.086863, 275.353)]
)
def test_saturated_air_is_that_of_the_ashrae_table(t: float, ratio: float, enthalpy: float) -> None:
    """The table has real air, so the ideal gas lies 0.4-0.7 % below it."""
    saturated = moistair.saturation_ratio(t)
    assert saturated == pytest.approx(ratio, rel=7e-3)
    assert saturated < ratio
    assert moistair.enthalpy_kJ_per_kg(t, saturated) == pytest.approx(enthalpy, rel=6e-3)
