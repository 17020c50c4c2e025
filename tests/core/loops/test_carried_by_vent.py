"""While the vent is open for moisture the heat loop's output moves nothing from no heat to what that vent carries out:
the loop crosses that range at once, in the direction in which the air errs, and neither heat nor vent jump."""

from __future__ import annotations

from dataclasses import replace
from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.actuation.actuation import Achieved, ActuationConfig
from controller.core.climate.climate import Climate
from controller.core.climate.moistair import humidity_ratio, saturation_pressure_Pa
from controller.core.loops import allocation, constraints
from controller.core.loops.allocation import AllocationState, Demands, MoistureConfig, TemperatureConfig
from controller.core.loops.capacity import outdoors
from controller.core.loops.constraints import ConstraintsConfig
from controller.core.loops.loops import LoopState
from controller.core.product.product import Product
from controller.core.setpoints import Targets

PRODUCT = Product(30.0, 31.0, 30.0, 0.0, "neutral", 9.0, 9.0, 9.0, 5.0, 0.0, True)
ALL = Achieved(60.0, 60.0, 1.0, 0.0, 0.0)
SINGLE = Targets(32.0, 32.0, 0.0, 97.5, 85.0, 3.0, 75.0, True, True, True, sags=False)
PLAN = allocation.bind(TemperatureConfig(), MoistureConfig(), ActuationConfig(), load_t=120.0)
LIMIT_PLAN = constraints.bind(ConstraintsConfig(), 60.0)
LIMIT = 31.0  # dew limit, degC
FAN_kW = 4.0


def air(t: float, dew: float = LIMIT) -> Climate:
    vapour = saturation_pressure_Pa(dew)
    return Climate(
        temperature_degC=t, coldest_degC=t - 0.3, hottest_degC=t + 0.3, spread_K=0.6, dew_point_degC=dew,
        humidity_ratio=humidity_ratio(vapour), rh_pct=100.0 * vapour / saturation_pressure_Pa(t),
        surface_degC=LIMIT + 0.15, surface="board bay 6 level 1", dew_limit_degC=LIMIT, dew_margin_K=0.15,
        supply_degC=nan, return_degC=t, hall_degC=20.0, outdoor_degC=8.0, outdoor_humidity_ratio=0.0053,
        airflow_kg_per_s=9.0, fan_kW=FAN_kW, heat_kW=nan, fog_kg_per_h=nan,
        temperature_ok=True, moisture_ok=True, surface_ok=True,
    )  # fmt: skip


def allocate(
    climate: Climate, state: AllocationState, targets: Targets = SINGLE, achieved: Achieved = ALL
) -> tuple[AllocationState, Demands]:
    limits = constraints.narrow(LIMIT_PLAN, targets, climate, PRODUCT)
    return allocation.allocate(PLAN, state, targets, limits, climate, PRODUCT, achieved, 1.0)


def learnt(heat_kW: float, water_kg_per_h: float = -40.0) -> AllocationState:
    """40 kg/h are about 0.5 kg/s of outdoor air, 41 kW."""
    return AllocationState(LoopState(heat_kW, heat_kW), LoopState(water_kg_per_h, water_kg_per_h))


def carried_kW(state: AllocationState, climate: Climate) -> float:
    drier, cooler = outdoors(climate, 1000.0 * climate.humidity_ratio)
    return -state.moisture.integral / (3.6 * drier) * cooler


def free_kW(state: AllocationState, t: float) -> float:
    return 20.0 * (32.0 - t) + state.temperature.integral - FAN_kW


def test_above_the_ceiling_the_loop_goes_on_from_what_the_vent_for_moisture_carries() -> None:
    warm = air(32.5)
    after, demands = allocate(warm, learnt(3.0))
    assert 35.0 < carried_kW(after, warm) < 50.0
    assert free_kW(after, 32.5) == pytest.approx(-carried_kW(after, warm), abs=1e-9)
    assert after.temperature.output == pytest.approx(-carried_kW(after, warm), abs=1e-9)
    assert demands.heat_kW == 0.0


def test_a_rise_of_the_air_then_opens_the_vent_further_at_once() -> None:
    """0.2 K are 4 kW more, of which the dead zone takes 2: as much vent as carries the rest."""
    state, before = allocate(air(32.5), learnt(3.0))
    _, after = allocate(air(32.7), state)
    cooler = outdoors(air(32.7), 1000.0 * air(32.7).humidity_ratio)[1]
    assert (after.vent_kg_per_s - before.vent_kg_per_s) * cooler == pytest.approx(2.0, abs=0.2)


def test_crossing_moves_neither_heat_nor_vent() -> None:
    _, demands = allocate(air(32.5), learnt(3.0))
    _, alone = allocate(air(32.0), learnt(0.0))
    assert demands.heat_kW == 0.0
    assert demands.vent_kg_per_s == pytest.approx(alone.vent_kg_per_s, rel=1e-3)


def test_heat_that_is_still_needed_above_the_setpoint_stays_learnt() -> None:
    after, demands = allocate(air(32.3), learnt(21.0))
    assert demands.heat_kW == pytest.approx(21.0 - 0.3 * 20.0 - FAN_kW, abs=0.01)
    assert after.temperature.integral == pytest.approx(21.0, abs=0.01)


def test_more_cooling_than_the_vent_for_moisture_gives_is_left_to_the_loop() -> None:
    after, demands = allocate(air(32.5), learnt(-60.0))
    assert after.temperature.integral == pytest.approx(-60.0, abs=0.02)
    cooler = outdoors(air(32.5), 1000.0 * air(32.5).humidity_ratio)[1]
    assert demands.vent_kg_per_s == pytest.approx((60.0 + 10.0 + FAN_kW - 2.0) / cooler, rel=1e-3)


def test_what_was_learnt_of_cooling_stays_learnt_below_the_floor() -> None:
    """Else each crossing of a single setpoint would begin to learn from nothing."""
    after, _ = allocate(air(31.9), learnt(-60.0))
    assert after.temperature.integral == pytest.approx(-60.0, abs=0.01)


def test_below_the_floor_the_loop_goes_on_from_no_heat() -> None:
    after, demands = allocate(air(31.7), learnt(-30.0))
    assert demands.heat_kW == 0.0
    assert free_kW(after, 31.7) == pytest.approx(0.0, abs=1e-9)
    assert allocate(air(31.6), after)[1].heat_kW == pytest.approx(2.0, abs=0.02)


def test_below_the_floor_no_heat_is_learnt_by_crossing() -> None:
    """0.1 K below, 2 kW of the loop are less than the fan gives: the integral ends at nothing, not above."""
    after, demands = allocate(air(31.9), learnt(-30.0))
    assert after.temperature.integral == pytest.approx(0.0, abs=1e-9)
    assert demands.heat_kW == 0.0
    assert allocate(air(31.9), learnt(1.0))[0].temperature.integral == pytest.approx(1.0, abs=0.01)


def test_below_the_floor_of_a_band_the_loop_keeps_what_it_learnt() -> None:
    """There it is the heat of hydration on a ramp, not the vent."""
    band = replace(SINGLE, ceiling_degC=38.0)
    assert allocate(air(31.7), learnt(-30.0), band)[0].temperature.integral == pytest.approx(-30.0, abs=0.01)


def test_above_the_ceiling_of_a_band_it_is_crossed_too() -> None:
    band = replace(SINGLE, floor_degC=26.0)
    after, _ = allocate(air(32.5), learnt(3.0), band)
    assert free_kW(after, 32.5) == pytest.approx(-carried_kW(after, air(32.5)), abs=1e-9)


def test_a_short_surge_of_moisture_is_not_taken_for_cooling_that_lasts() -> None:
    surge = air(32.5, LIMIT + 0.6)
    after, demands = allocate(surge, learnt(3.0, -1.0))
    assert demands.vent_kg_per_s * outdoors(surge, 1000.0 * surge.humidity_ratio)[1] > 10.0
    assert free_kW(after, 32.5) > -3.0 - 10.0  # the loop by itself, not the surge


def test_without_a_vent_for_moisture_nothing_is_crossed() -> None:
    after, _ = allocate(air(32.5, LIMIT - 0.05), learnt(3.0, 0.0))
    assert after.temperature.integral == pytest.approx(3.0, abs=0.01)


def test_a_vent_that_may_not_open_carries_nothing() -> None:
    for asked, achieved in ((replace(SINGLE, vent=False), ALL), (SINGLE, replace(ALL, vent_kg_per_s_max=0.0))):
        after, demands = allocate(air(32.5), learnt(3.0), asked, achieved)
        assert demands.vent_kg_per_s == 0.0
        assert after.temperature.integral == pytest.approx(3.0, abs=0.01)


@given(t=st.floats(30.5, 33.5), heat=st.floats(-60.0, 60.0), water=st.floats(-60.0, 0.0))
def test_the_output_never_rests_where_it_moves_nothing(t: float, heat: float, water: float) -> None:
    after, _ = allocate(air(t), learnt(heat, water))
    carried, free = carried_kW(after, air(t)), free_kW(after, t)
    if t > 32.0 or (t < 32.0 and after.temperature.integral < 0.0):
        assert not -carried + 1e-6 < free < -1e-6
