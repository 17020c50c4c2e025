"""Dew and product constraints: what they narrow, and the words for it."""

from __future__ import annotations

from dataclasses import replace
from math import isnan, nan

import pytest

from controller.core.climate.climate import Climate
from controller.core.climate.moistair import (
    dew_point_degC,
    humidity_ratio,
    relative_humidity_pct,
    saturation_pressure_Pa,
)
from controller.core.loops import constraints
from controller.core.loops.constraints import ConstraintsConfig, Limits
from controller.core.product.product import Product
from controller.core.setpoints import Targets

PLAN = constraints.bind(ConstraintsConfig(), 60.0)
TARGETS = Targets(30.0, 36.0, 0.0, 95.5, 94.0, 3.0, 75.0, True, True, True)
PRODUCT = Product(30.0, 31.0, 30.0, 0.0, "neutral", 9.0, 9.0, 9.0, 5.0, 0.0, True)


def air(t: float = 31.0, rh: float = 94.0, surface: float = 30.8) -> Climate:
    dew = dew_point_degC(t, rh)
    return Climate(
        t, t - 0.2, t + 0.2, 0.4, dew, humidity_ratio(saturation_pressure_Pa(dew)), rh, surface, "board bay 6 level 1",
        surface - 0.15, surface - dew, nan, t, 20.0, 8.0, 0.005, 9.0, 4.0, nan, nan, True, True, True,
    )  # fmt: skip


def narrow(climate: Climate, targets: Targets = TARGETS, product: Product = PRODUCT) -> Limits:
    return constraints.narrow(PLAN, targets, climate, product)


def test_warm_surfaces_leave_the_asked_humidity_alone() -> None:
    limits = narrow(air(surface=31.0))
    assert limits.dew_lo_degC == pytest.approx(dew_point_degC(31.0, 95.5), abs=1e-9)
    assert limits.dew_hi_degC == pytest.approx(31.0 - 0.15)
    assert limits.fog_below == pytest.approx(humidity_ratio(saturation_pressure_Pa(limits.dew_lo_degC)), rel=1e-9)
    assert limits.vent_above == pytest.approx(humidity_ratio(saturation_pressure_Pa(limits.dew_hi_degC)), rel=1e-9)
    assert limits.why == ()


def test_a_cold_surface_caps_the_fog_floor_and_is_named() -> None:
    limits = narrow(air(surface=30.0))
    assert limits.dew_hi_degC == pytest.approx(29.85)
    assert limits.dew_lo_degC == pytest.approx(29.75)
    assert limits.why == ("dew limit: board bay 6 level 1",)


@pytest.mark.parametrize("surface", [25.0, 29.9, 30.3, 30.36, 30.4, 30.5, 31.0])
def test_fog_floor_is_the_lower_of_asked_humidity_and_dew_limit(surface: float) -> None:
    limits = narrow(air(surface=surface))
    asked = dew_point_degC(31.0, 95.5)
    assert limits.dew_lo_degC == pytest.approx(min(asked, surface - 0.15 - 0.1), abs=1e-9)
    assert limits.fog_below < limits.vent_above


def test_without_a_watched_surface_the_limit_lies_well_below_the_air_and_says_so() -> None:
    limits = narrow(replace(air(), surface_ok=False, dew_limit_degC=nan, surface=""))
    assert limits.dew_hi_degC == pytest.approx(31.0 - 0.2 - 1.5)
    assert limits.why == (constraints.BLIND,)


def test_an_unknown_dew_point_gives_no_fog_limit_and_does_not_raise() -> None:
    limits = narrow(replace(air(), rh_pct=nan, humidity_ratio=nan, dew_point_degC=nan, moisture_ok=False))
    assert isnan(limits.fog_below) and isnan(limits.dew_lo_degC)
    assert limits.dew_hi_degC == pytest.approx(30.65)


@pytest.mark.parametrize(("core", "heat_kW"), [(48.0, 60.0), (49.0, 60.0), (49.5, 30.0), (50.0, 0.0), (58.0, 0.0)])
def test_heat_fades_out_below_the_highest_core_temperature(core: float, heat_kW: float) -> None:
    limits = narrow(air(), product=replace(PRODUCT, core_degC_max=core))
    assert limits.heat_kW_max == pytest.approx(heat_kW)
    assert (constraints.PRODUCT_HOT in limits.why) == (core > 49.0)


def test_air_far_above_the_product_stops_ramp_and_heat() -> None:
    limits = narrow(air(t=31.0), product=replace(PRODUCT, surface_degC=18.5))
    assert not limits.ramp
    assert limits.heat_kW_max == 0.0
    assert constraints.AIR_AHEAD in limits.why


def test_an_unknown_product_limits_nothing() -> None:
    limits = narrow(air(), product=replace(PRODUCT, core_degC_max=99.0, surface_degC=nan, ok=False))
    assert (limits.heat_kW_max, limits.ramp) == (60.0, True)


def test_ramp_rate_is_cut_and_the_boiler_share_counts() -> None:
    assert narrow(air(), replace(TARGETS, rate_K_per_h=7.0)).rate_K_per_h == 5.0
    assert narrow(air(), replace(TARGETS, rate_K_per_h=7.0)).why[-1] == constraints.RATE
    assert constraints.bind(ConstraintsConfig(heat_kW_max=25.0), 60.0).heat_kW_max == 25.0


def test_ramp_waits_until_the_coldest_surface_allows_the_humidity() -> None:
    """psat(surface - margin) >= floor * psat(air): the highest dry humidity is exactly the limit."""
    climate = air(t=25.0, surface=24.2)
    dry_pct = relative_humidity_pct(25.0, saturation_pressure_Pa(24.05))
    assert constraints.ramp_permitted(climate, dry_pct - 0.01)
    assert not constraints.ramp_permitted(climate, dry_pct + 0.01)


@pytest.mark.parametrize("limit_degC", [-20.0, -10.0, 0.0, 9.7, 20.3, 31.0, 44.4, 60.0, 90.0])
def test_the_quick_look_at_a_ramp_never_says_yes_too_early(limit_degC: float) -> None:
    """Goal: the short cut by the steepness of the curve decides as the two pressures do, above and below the limit.

    Method: a dense row of air temperatures over the limit, at several floors.
    """
    for floor_pct in (50.0, 90.0, 94.0, 99.0, 99.99):
        for step in range(400):
            mean = limit_degC - 1.0 + 0.04 * step
            climate = replace(air(), temperature_degC=mean, dew_limit_degC=limit_degC)
            exact = saturation_pressure_Pa(limit_degC) >= 0.01 * floor_pct * saturation_pressure_Pa(mean)
            assert constraints.ramp_permitted(climate, floor_pct) == exact, (mean, floor_pct)


@pytest.mark.parametrize("missing", ["surface_ok", "temperature_ok"])
def test_ramp_waits_while_something_is_not_known(missing: str) -> None:
    assert constraints.ramp_permitted(air(surface=31.0), 50.0)
    assert not constraints.ramp_permitted(replace(air(surface=31.0), **{missing: False}), 50.0)


def test_a_phase_that_dries_is_held_at_its_own_limit_or_at_the_surfaces_whichever_is_drier() -> None:
    dry = narrow(air(), replace(TARGETS, rh_vent_above_pct=60.0))
    assert dry.dew_hi_degC == pytest.approx(dew_point_degC(31.0, 60.0), abs=1e-9)
    cold = air(surface=20.0)
    assert narrow(cold, replace(TARGETS, rh_vent_above_pct=95.0)).dew_hi_degC == pytest.approx(20.0 - 0.15)
