"""The one allocation, fixed by a table: (temperature, dew point) -> which of heat, vent and fog act."""

from __future__ import annotations

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
ALL = Achieved(60.0, 60.0, 1.0, 0.0, 0.0)
BAND = Targets(30.0, 36.0, 0.0, 95.5, 94.0, 3.0, 75.0, True, True, True)
SINGLE = Targets(32.0, 32.0, 0.0, 95.5, 94.0, 3.0, 75.0, True, True, True)
PLAN = allocation.bind(TemperatureConfig(), MoistureConfig(), ActuationConfig(), load_t=120.0)
LIMIT_PLAN = constraints.bind(ConstraintsConfig(), 60.0)


def air(t: float, dew: float, surface: float, fan_kW: float = 0.0) -> Climate:
    vapour = saturation_pressure_Pa(dew)
    return Climate(
        temperature_degC=t, coldest_degC=t - 0.3, hottest_degC=t + 0.3, spread_K=0.6, dew_point_degC=dew,
        humidity_ratio=humidity_ratio(vapour), rh_pct=100.0 * vapour / saturation_pressure_Pa(t),
        surface_degC=surface, surface="board bay 6 level 1", dew_limit_degC=surface - 0.15, dew_margin_K=surface - dew,
        supply_degC=nan, return_degC=t, hall_degC=20.0, outdoor_degC=8.0, outdoor_humidity_ratio=0.0053,
        airflow_kg_per_s=9.0, fan_kW=fan_kW, heat_kW=nan, fog_kg_per_h=nan,
        temperature_ok=True, moisture_ok=True, surface_ok=True,
    )  # fmt: skip


def split(targets: Targets, climate: Climate, learnt: AllocationState | None = None) -> Demands:
    limits = constraints.narrow(LIMIT_PLAN, targets, climate, PRODUCT)
    state = allocation.initial(PLAN) if learnt is None else learnt
    return allocation.allocate(PLAN, state, targets, limits, climate, PRODUCT, ALL, 1.0)[1]


def signs(demands: Demands) -> tuple[bool, bool, bool]:
    return demands.heat_kW > 0.0, demands.vent_kg_per_s > 0.0, demands.fog_kg_per_h > 0.0


# Surface 0.3 K below the air: vent above T - 0.45; 95.5 %RH is T - 0.8 (30..36 degC), fog below that.
DRY, BETWEEN, WET = -1.5, -0.6, -0.38


@pytest.mark.parametrize(
    ("targets", "t", "dew_minus_t", "heat", "vent", "fog"),
    [
        # a float, 30 to 36
        (BAND, 29.5, DRY, True, False, True),
        (BAND, 29.5, BETWEEN, True, False, False),
        (BAND, 29.5, WET, True, True, False),  # both, and counted as fighting
        (BAND, 30.1, DRY, True, False, True),  # heat for the fog only
        (BAND, 30.1, BETWEEN, False, False, False),
        (BAND, 30.4, DRY, False, False, True),  # above floor + 0.3 K the product pays for the fog
        (BAND, 33.0, DRY, False, False, True),
        (BAND, 33.0, BETWEEN, False, False, False),
        (BAND, 33.0, WET, False, True, False),
        (BAND, 36.5, DRY, False, True, True),
        (BAND, 36.5, BETWEEN, False, True, False),
        (BAND, 36.5, WET, False, True, False),
        # a single setpoint, 32
        (SINGLE, 31.5, DRY, True, False, True),
        (SINGLE, 31.5, BETWEEN, True, False, False),
        (SINGLE, 32.0, BETWEEN, False, False, False),
        (SINGLE, 32.05, BETWEEN, False, False, False),  # inside the dead zone
        (SINGLE, 32.5, BETWEEN, False, True, False),
        (SINGLE, 32.5, DRY, False, True, True),
    ],
)
def test_every_cell_of_the_table_acts_as_it_says(
    targets: Targets, t: float, dew_minus_t: float, heat: bool, vent: bool, fog: bool
) -> None:
    assert signs(split(targets, air(t, t + dew_minus_t, t - 0.3))) == (heat, vent, fog)


def test_need_is_the_loop_plus_fog_heat_minus_fan_heat() -> None:
    """need_kW = pi(error) + 0.674 kW per kg/h of fog - fan, to the last digit, 0.5 K below the floor."""
    learnt = AllocationState(LoopState(3.0, 3.0), LoopState(4.0, 4.0))
    demands = split(BAND, air(29.5, 28.0, 29.2, fan_kW=4.0), learnt)
    error = 30.0 - 29.5
    pi = 20.0 * error + 3.0 + 20.0 / 2400.0 * error
    assert demands.fog_kg_per_h > 4.0
    assert demands.heat_kW == pytest.approx(pi + 0.674 * demands.fog_kg_per_h - 4.0, abs=1e-9)


def test_ramp_feeds_forward_the_thermal_mass() -> None:
    """120 t of product, boards and racks are 166.6 MJ/K: 0.4 K/h are 18.5 kW, half the load less by its share."""
    ramp = Targets(30.0, 36.0, 0.4, 95.5, 94.0, 4.0, 75.0, True, True, True)
    climate = air(30.0, 29.4, 29.7)
    assert split(ramp, climate).heat_kW == pytest.approx(166.6e3 * 0.4 / 3600.0, abs=1e-9)
    half = allocation.bind(TemperatureConfig(), MoistureConfig(), ActuationConfig(), load_t=60.0)
    limits = constraints.narrow(LIMIT_PLAN, ramp, climate, PRODUCT)
    _, demands = allocation.allocate(half, allocation.initial(half), ramp, limits, climate, PRODUCT, ALL, 1.0)
    assert demands.heat_kW == pytest.approx(106.6e3 * 0.4 / 3600.0, abs=1e-9)


def test_fighting_is_the_smaller_of_heat_and_what_the_vent_carries_out() -> None:
    demands = split(BAND, air(29.5, 29.12, 29.2))
    assert demands.vent_kg_per_s > 0.0
    w = humidity_ratio(saturation_pressure_Pa(29.12)) - 0.0053
    carried = demands.vent_kg_per_s * (1.01 * 21.5 + 2550.0 * w)
    assert demands.fighting_kW == pytest.approx(min(demands.heat_kW, carried), rel=1e-9)
    assert split(BAND, air(33.0, 32.62, 32.7)).fighting_kW == 0.0


def test_fog_and_vent_for_moisture_never_act_together_whatever_was_learnt() -> None:
    fogging = AllocationState(LoopState(0.0, 0.0), LoopState(20.0, 20.0))
    venting = AllocationState(LoopState(0.0, 0.0), LoopState(-20.0, -20.0))
    assert signs(split(BAND, air(33.0, 32.7, 32.7), fogging)) == (False, True, False)
    assert signs(split(BAND, air(33.0, 31.5, 32.7), venting)) == (False, False, True)
