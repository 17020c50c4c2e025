"""Limits and bad data in the allocation; the split itself stands in test_split_table.py."""

from __future__ import annotations

from dataclasses import replace
from math import isfinite, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.actuation.actuation import Achieved, ActuationConfig
from controller.core.climate.climate import Climate
from controller.core.climate.moistair import dew_point_degC, humidity_ratio, saturation_pressure_Pa
from controller.core.loops import allocation, capacity, constraints
from controller.core.loops.allocation import AllocationState, Demands, MoistureConfig, TemperatureConfig
from controller.core.loops.constraints import ConstraintsConfig
from controller.core.loops.loops import LoopState
from controller.core.product.product import Product
from controller.core.setpoints import Targets

PRODUCT = Product(30.0, 31.0, 30.0, 0.0, "neutral", 9.0, 9.0, 9.0, 5.0, 0.0, True)
ALL = Achieved(60.0, 60.0, 1.0, 0.0, 0.0)
TARGETS = Targets(30.0, 36.0, 0.0, 95.5, 94.0, 3.0, 75.0, True, True, True)
PLAN = allocation.bind(TemperatureConfig(), MoistureConfig(), ActuationConfig(), load_t=120.0)
LIMIT_PLAN = constraints.bind(ConstraintsConfig(), 60.0)


def air(t: float = 29.0, rh: float = 90.0, surface_below_K: float = 0.3) -> Climate:
    dew = dew_point_degC(t, rh)
    return Climate(
        t, t - 0.2, t + 0.2, 0.4, dew, humidity_ratio(saturation_pressure_Pa(dew)), rh, t - surface_below_K,
        "board bay 6 level 1", t - surface_below_K - 0.15, t - surface_below_K - dew, nan, t, 20.0, 8.0, 0.005, 9.0,
        4.0, nan, nan, True, True, True,
    )  # fmt: skip


def allocate(
    climate: Climate,
    targets: Targets = TARGETS,
    achieved: Achieved = ALL,
    state: AllocationState | None = None,
    product: Product = PRODUCT,
) -> tuple[AllocationState, Demands]:
    limits = constraints.narrow(LIMIT_PLAN, targets, climate, product)
    before = allocation.initial(PLAN) if state is None else state
    return allocation.allocate(PLAN, before, targets, limits, climate, product, achieved, 1.0)


LEARNT = AllocationState(LoopState(30.0, 30.0), LoopState(10.0, 10.0))


def test_supply_over_return_limits_the_heat() -> None:
    """3 K over 9 kg/s of moist air are 28.6 kW, of which the fan gives 4."""
    _, demands = allocate(air(t=26.0, rh=93.0))
    assert demands.heat_kW == pytest.approx(3.0 * 9.0 * 1.06 - 4.0)
    assert capacity.SUPPLY in demands.why


def test_without_air_flow_there_is_no_heat() -> None:
    assert allocate(replace(air(), airflow_kg_per_s=0.0))[1].heat_kW == 0.0


def test_what_the_heater_can_give_limits_the_heat_and_stops_the_integral() -> None:
    state, demands = allocate(air(t=26.0), achieved=replace(ALL, heat_kW_max=10.0), state=LEARNT)
    assert demands.heat_kW == 10.0
    assert state.temperature.integral == 30.0
    assert capacity.HEATER in demands.why


def test_hot_product_turns_the_heat_off() -> None:
    _, demands = allocate(air(t=29.0), product=replace(PRODUCT, core_degC_max=51.0))
    assert demands.heat_kW == 0.0
    assert constraints.PRODUCT_HOT in demands.why


def test_fog_is_capped_by_what_the_air_can_evaporate() -> None:
    """At 33 degC nothing is heated, so one pass at 94 % and 4 kW of fan are all there is to evaporate with."""
    _, demands = allocate(air(t=33.0, rh=94.0), state=AllocationState(LoopState(), LoopState(60.0, 60.0)))
    expected = capacity.evaporation_kg_per_h(1000.0 * air(33.0, 94.0).humidity_ratio, 94.0, 9.0, 4.0)
    assert demands.fog_kg_per_h == pytest.approx(expected)
    assert 10.0 < expected < 25.0
    assert allocation.EVAPORATION in demands.why


@pytest.mark.parametrize(("rh", "kg_per_h"), [(97.0, 6.0), (90.0, 20.7)])
def test_one_pass_without_heat_evaporates_little(rh: float, kg_per_h: float) -> None:
    """Adiabatic saturation of 9 kg/s at 32 degC; values recomputed with an enthalpy balance."""
    w = humidity_ratio(saturation_pressure_Pa(dew_point_degC(32.0, rh)))
    assert capacity.evaporation_kg_per_h(1000.0 * w, rh, 9.0, 0.0) == pytest.approx(kg_per_h, rel=0.1)


def test_gain_falls_near_saturation() -> None:
    wide = replace(TARGETS, rh_fog_below_pct=99.9)
    far = allocate(air(t=33.0, rh=94.0, surface_below_K=-1.0), wide)[1]
    near = allocate(air(t=33.0, rh=99.0, surface_below_K=-1.0), wide)[1]
    per_gram_far = far.fog_kg_per_h / (0.059 * air(33.0, 94.0).humidity_ratio)
    per_gram_near = near.fog_kg_per_h / (0.009 * air(33.0, 99.0).humidity_ratio)
    assert per_gram_near < 0.35 * per_gram_far


@pytest.mark.parametrize("what", ["heat", "fog", "vent"])
def test_what_the_phase_does_not_allow_stays_off(what: str) -> None:
    targets = replace(TARGETS, **{what: False})
    for climate in (air(29.0, 90.0), air(33.0, 98.5), air(37.0, 90.0)):
        demands = allocate(climate, targets, state=LEARNT)[1]
        assert {"heat": demands.heat_kW, "fog": demands.fog_kg_per_h, "vent": demands.vent_kg_per_s}[what] == 0.0


def test_bad_temperature_heats_nothing_and_keeps_what_was_learnt() -> None:
    bad = replace(air(), temperature_degC=nan, temperature_ok=False, coldest_degC=nan, rh_pct=nan)
    state, demands = allocate(bad, state=LEARNT)
    assert demands.heat_kW == 0.0
    assert state.temperature is LEARNT.temperature
    assert allocation.NO_TEMPERATURE in demands.why


def test_bad_dew_point_fogs_nothing_and_keeps_what_was_learnt() -> None:
    bad = replace(air(), dew_point_degC=nan, humidity_ratio=nan, rh_pct=nan, moisture_ok=False)
    state, demands = allocate(bad, state=LEARNT)
    assert (demands.fog_kg_per_h, demands.vent_kg_per_s) == (0.0, 0.0)
    assert demands.heat_kW > 0.0
    assert state.moisture is LEARNT.moisture
    assert allocation.NO_MOISTURE in demands.why


def test_wet_outdoor_air_is_not_let_in_for_moisture() -> None:
    wet = replace(air(t=33.0, rh=98.9), outdoor_humidity_ratio=0.035, outdoor_degC=34.0)
    _, demands = allocate(wet)
    assert demands.vent_kg_per_s == 0.0
    assert allocation.VENT_USELESS in demands.why


def test_unmeasured_outdoor_air_is_taken_as_useful() -> None:
    unknown = replace(air(t=33.0, rh=98.9), outdoor_humidity_ratio=nan, outdoor_degC=nan)
    assert allocate(unknown)[1].vent_kg_per_s > 0.0
    hot = replace(air(t=37.0, rh=95.0), outdoor_humidity_ratio=nan, outdoor_degC=nan)
    assert allocate(hot)[1].vent_kg_per_s > 0.0


def test_vent_names_the_surface_and_grows_while_the_dew_point_stays_above_its_limit() -> None:
    climate, state = air(t=33.0, rh=98.9), allocation.initial(PLAN)
    vents = []
    for _ in range(600):
        state, demands = allocate(climate, state=state)
        vents.append(demands.vent_kg_per_s)
    assert vents == sorted(vents)
    assert vents[-1] > 1.5 * vents[0] > 0.0
    assert demands.why[-1] == "vent: dew point above the limit of board bay 6 level 1"


COOLING = replace(TARGETS, floor_degC=30.0, ceiling_degC=30.0, rate_K_per_h=-1.0, heat=False, rh_fog_below_pct=0.0)


def test_a_setpoint_that_falls_is_fed_forward_to_the_vent_once_the_air_is_above_it() -> None:
    """1 K/h of 120 t of product and 46.6 MJ/K of boards are 46.3 kW, which the vent has to carry out."""
    dry = air(t=30.5, rh=80.0)
    still = allocate(dry, replace(COOLING, rate_K_per_h=0.0))[1].vent_kg_per_s
    falling = allocate(dry, COOLING)[1].vent_kg_per_s
    more_kW = (120.0 + 46.6) * 1000.0 / 3600.0
    carries_kJ_per_kg = capacity.outdoors(dry, 1000.0 * dry.humidity_ratio)[1]
    assert falling - still == pytest.approx(more_kW / carries_kJ_per_kg, rel=1e-3)
    assert allocate(air(t=29.9, rh=80.0), COOLING)[1].vent_kg_per_s == 0.0


def test_the_vent_gives_all_it_can_when_the_setpoint_falls_faster_than_it_can_follow() -> None:
    _, demands = allocate(air(t=31.0, rh=80.0), replace(COOLING, rate_K_per_h=-3.0))
    assert demands.vent_kg_per_s == 1.0
    assert allocation.VENT_FULL in demands.why


def test_fan_is_raised_only_when_the_air_is_uneven() -> None:
    assert allocate(air())[1].fan_pct == 75.0
    assert allocate(replace(air(), spread_K=2.5))[1].fan_pct == pytest.approx(100.0)
    assert allocate(replace(air(), spread_K=1.7))[1].fan_pct == pytest.approx(80.0)
    assert allocate(replace(air(), spread_K=2.5), replace(TARGETS, fan_pct=0.0))[1].fan_pct == 0.0


def test_nothing_to_do_keeps_the_state_object() -> None:
    before = allocation.initial(PLAN)
    climate = air(t=33.0, rh=96.3)
    state, _ = allocate(climate, state=before)
    again, demands = allocate(climate, state=state)
    assert again is state
    assert demands.why == ()


any_float = st.one_of(st.floats(allow_nan=True, allow_infinity=False, width=32), st.just(nan))


@given(
    t=st.one_of(st.floats(-10, 60), st.just(nan)), rh=st.one_of(st.floats(1, 105), st.just(nan)),
    surface=st.one_of(st.floats(-10, 60), st.just(nan)), out=st.one_of(st.floats(-40, 50), st.just(nan)),
    flow=any_float, fan=any_float, integral=st.floats(-80, 80), seen=st.booleans(),
)  # fmt: skip
def test_demands_are_finite_and_within_what_there_is(
    t: float, rh: float, surface: float, out: float, flow: float, fan: float, integral: float, seen: bool
) -> None:
    dew = dew_point_degC(t, min(rh, 100.0))
    climate = Climate(
        t, t, t, 0.0, dew, humidity_ratio(saturation_pressure_Pa(dew)), rh, surface, "x", surface - 0.15, surface - dew,
        nan, t, nan, out, nan, flow, fan, nan, nan, isfinite(t), isfinite(dew), seen and isfinite(surface),
    )  # fmt: skip
    learnt = AllocationState(LoopState(integral, 0.0), LoopState(integral, 0.0))
    state, demands = allocate(climate, state=learnt)
    assert 0.0 <= demands.heat_kW <= 60.0
    assert 0.0 <= demands.vent_kg_per_s <= 1.0
    assert 0.0 <= demands.fog_kg_per_h <= 60.0
    assert 0.0 <= demands.fighting_kW <= demands.heat_kW
    assert isfinite(state.temperature.integral) and isfinite(state.moisture.integral)


VENTING = AllocationState(LoopState(10.0, 10.0), LoopState(-20.0, -20.0))


def test_while_the_vent_carries_moisture_out_the_floor_sags_instead_of_heating_against_it() -> None:
    _, demands = allocate(air(t=29.5, rh=98.9), state=VENTING)
    assert demands.vent_kg_per_s > 0.1
    assert demands.heat_kW == 0.0
    assert allocation.FLOOR_SAGS in demands.why


def test_a_little_vent_leaves_some_heat() -> None:
    little = AllocationState(LoopState(40.0, 40.0), LoopState(-2.0, -2.0))
    _, demands = allocate(air(t=29.5, rh=97.6), state=little)
    assert 0.0 < demands.vent_kg_per_s < 0.1
    assert 0.0 < demands.heat_kW < 3.0 * 9.0 * 1.06 - 4.0


def test_heat_comes_back_when_the_floor_has_sagged_far_enough() -> None:
    assert allocate(air(t=28.8, rh=98.9), state=VENTING)[1].heat_kW > 0.0
    single = replace(TARGETS, ceiling_degC=30.0)
    assert allocate(air(t=29.8, rh=98.9), single, state=VENTING)[1].heat_kW == 0.0
    assert allocate(air(t=29.2, rh=98.9), single, state=VENTING)[1].heat_kW > 0.0
