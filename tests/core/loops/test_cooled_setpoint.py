"""A single setpoint that has to be cooled: the vent follows what the loop has learnt a little below it too. Where it
shut at the setpoint and opened above it, it did so once a minute for as long as the boards were warm."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import nan

import pytest

from controller.core.actuation.actuation import Achieved, ActuationConfig
from controller.core.climate.climate import Climate
from controller.core.climate.moistair import humidity_ratio, saturation_pressure_Pa
from controller.core.loops import allocation, constraints
from controller.core.loops.allocation import AllocationState, Demands, MoistureConfig, TemperatureConfig
from controller.core.loops.constraints import ConstraintsConfig
from controller.core.loops.loops import LoopState
from controller.core.product.product import Product
from controller.core.setpoints import Targets

PRODUCT = Product(30.0, 31.0, 30.0, 0.0, "neutral", 9.0, 9.0, 9.0, 5.0, 0.0, True)
ALL = Achieved(60.0, 60.0, 4.0, 0.0, 0.0)
SINGLE = Targets(32.0, 32.0, 0.0, 70.0, 60.0, 3.0, 75.0, True, True, True, sags=False)
BAND = replace(SINGLE, floor_degC=28.0)
LIMIT_PLAN = constraints.bind(ConstraintsConfig(), 60.0)
COOLED = AllocationState(LoopState(-40.0, -40.0), LoopState())


def air(t: float, outdoor_degC: float = 8.0, outdoor_ratio: float = 0.0053) -> Climate:
    """Dry enough that nothing is vented for moisture, moist enough that nothing is fogged."""
    vapour = saturation_pressure_Pa(28.0)
    return Climate(
        temperature_degC=t, coldest_degC=t - 0.3, hottest_degC=t + 0.3, spread_K=0.6, dew_point_degC=28.0,
        humidity_ratio=humidity_ratio(vapour), rh_pct=100.0 * vapour / saturation_pressure_Pa(t),
        surface_degC=31.0, surface="board bay 6 level 1", dew_limit_degC=30.9, dew_margin_K=3.0,
        supply_degC=nan, return_degC=t, hall_degC=20.0, outdoor_degC=outdoor_degC, outdoor_humidity_ratio=outdoor_ratio,
        airflow_kg_per_s=9.0, fan_kW=4.0, heat_kW=nan, fog_kg_per_h=nan,
        temperature_ok=True, moisture_ok=True, surface_ok=True,
    )  # fmt: skip


def demands(
    climate: Climate, state: AllocationState = COOLED, targets: Targets = SINGLE, **temperature: float
) -> Demands:
    plan = allocation.bind(TemperatureConfig(**temperature), MoistureConfig(), ActuationConfig(), load_t=120.0)
    limits = constraints.narrow(LIMIT_PLAN, targets, climate, PRODUCT)
    return allocation.allocate(plan, state, targets, limits, climate, PRODUCT, ALL, 1.0)[1]


def test_the_vent_closes_little_by_little_as_the_air_falls_through_the_setpoint() -> None:
    vents = [demands(air(32.0 + 0.01 * k)).vent_kg_per_s for k in range(20, -21, -1)]
    assert min(vents) > 0.4
    steps = [before - after for before, after in pairwise(vents)]
    assert all(0.002 < step < 0.005 for step in steps), "20 kW/K: 0.2 kW each 0.01 K, through air that carries 62 kJ/kg"


def test_it_shuts_where_the_air_has_sagged_so_far_that_heat_may_come_back() -> None:
    sag_K = TemperatureConfig().sag_single_K
    assert demands(air(32.01 - sag_K)).vent_kg_per_s > 0.3
    assert demands(air(31.99 - sag_K)).vent_kg_per_s == 0.0


def test_without_a_sag_it_shuts_at_the_setpoint() -> None:
    assert demands(air(32.01), sag_single_K=0.0).vent_kg_per_s > 0.5
    assert demands(air(31.99), sag_single_K=0.0).vent_kg_per_s == 0.0


@pytest.mark.parametrize("integral_kW", [0.0, 10.0])
def test_what_needed_no_cooling_opens_no_vent_below_the_setpoint(integral_kW: float) -> None:
    state = AllocationState(LoopState(integral_kW, 0.0), LoopState())
    assert demands(air(31.9), state).vent_kg_per_s == 0.0


def test_a_band_is_not_cooled_below_its_ceiling() -> None:
    assert demands(air(32.01), targets=BAND).vent_kg_per_s > 0.5
    assert demands(air(31.99), targets=BAND).vent_kg_per_s == 0.0


def test_outdoor_air_that_is_no_cooler_is_not_let_in_below_the_setpoint_either() -> None:
    assert demands(air(31.9, outdoor_degC=33.0, outdoor_ratio=0.028)).vent_kg_per_s == 0.0


def test_heat_never_comes_while_the_vent_still_cools() -> None:
    for k in range(-100, 101):
        found = demands(air(32.0 + 0.01 * k))
        assert found.heat_kW == 0.0 or found.vent_kg_per_s == 0.0
