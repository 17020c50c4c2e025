"""Moist air on the controller's side: inverses, limits and what NaN does. Outside values: tests/outside."""

from __future__ import annotations

import math

import pytest

from controller.core.climate import moistair


@pytest.mark.parametrize("temperature_degC", [-59.0, -40.0, -5.0, 0.0, 12.5, 31.643, 60.0, 99.9, 250.0])
def test_saturation_temperature_undoes_saturation_pressure(temperature_degC: float) -> None:
    pressure = moistair.saturation_pressure_Pa(temperature_degC)
    assert moistair.saturation_temperature_degC(pressure) == pytest.approx(temperature_degC, abs=1e-9)


def test_saturated_air_has_its_own_temperature_as_dew_point_and_wet_bulb() -> None:
    ratio = moistair.saturation_ratio(32.0)
    assert moistair.dew_point_degC(32.0, 100.0) == pytest.approx(32.0, abs=1e-9)
    assert moistair.wet_bulb_degC(32.0, ratio) == pytest.approx(32.0, abs=1e-5)


def test_humidity_ratio_and_vapour_pressure_undo_each_other() -> None:
    for pressure in (101325.0, 79495.0):
        ratio = moistair.humidity_ratio(4000.0, pressure)
        assert moistair.vapour_pressure_of_ratio_Pa(ratio, pressure) == pytest.approx(4000.0, rel=1e-12)


def test_relative_humidity_above_saturation_is_above_100() -> None:
    assert moistair.relative_humidity_pct(30.0, moistair.saturation_pressure_Pa(31.0)) > 105.0


@pytest.mark.parametrize("wrong", [math.nan, -60.5, 300.5, math.inf, -math.inf])
def test_a_temperature_that_cannot_be_gives_nan_and_does_not_raise(wrong: float) -> None:
    assert math.isnan(moistair.saturation_pressure_Pa(wrong))
    assert math.isnan(moistair.dew_point_degC(wrong, 90.0))
    assert math.isnan(moistair.wet_bulb_degC(wrong, 0.01))


@pytest.mark.parametrize("wrong", [math.nan, -1.0, 0.0, 110.5, math.inf])
def test_a_humidity_that_cannot_be_has_no_dew_point(wrong: float) -> None:
    assert math.isnan(moistair.dew_point_degC(30.0, wrong))


def test_vapour_alone_above_the_pressure_of_the_air_has_no_ratio() -> None:
    assert math.isnan(moistair.humidity_ratio(101325.0))
    assert math.isnan(moistair.humidity_ratio(math.nan))
    assert math.isnan(moistair.vapour_pressure_of_ratio_Pa(-0.001))


def test_a_tenth_of_a_kelvin_at_98_percent_costs_half_a_percent() -> None:
    """The sensitivity that rules the whole design: 0.55 %RH for 0.1 K at constant moisture."""
    vapour = moistair.vapour_pressure_Pa(32.0, 98.0)
    assert moistair.relative_humidity_pct(32.1, vapour) - 98.0 == pytest.approx(-0.554, abs=0.005)
    assert 32.0 - moistair.saturation_temperature_degC(vapour) == pytest.approx(0.357, abs=0.002)


@pytest.mark.parametrize("rh", [10.0, 50.0, 90.0])
def test_a_wet_bulb_lies_between_dew_point_and_temperature_and_keeps_the_balance(rh: float) -> None:
    ratio = moistair.humidity_ratio(moistair.saturation_pressure_Pa(moistair.dew_point_degC(30.0, rh)))
    wet = moistair.wet_bulb_degC(30.0, ratio)
    assert moistair.dew_point_degC(30.0, rh) < wet < 30.0
    saturated = moistair.saturation_ratio(wet)
    added = (saturated - ratio) * moistair.WATER_KJ_PER_KGK * wet
    assert moistair.enthalpy_kJ_per_kg(wet, saturated) == pytest.approx(
        moistair.enthalpy_kJ_per_kg(30.0, ratio) + added, abs=1e-4
    )
