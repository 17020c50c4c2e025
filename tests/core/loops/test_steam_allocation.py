"""Steam in the allocation: heat that carries water is not moistened twice, and fades before it wets anything."""

from __future__ import annotations

from dataclasses import replace
from math import nan

import pytest

from controller.core.actuation.actuation import Achieved, ActuationConfig
from controller.core.climate.climate import Climate
from controller.core.climate.moistair import dew_point_degC, humidity_ratio, saturation_pressure_Pa
from controller.core.equipment.actuators import FogConfig
from controller.core.equipment.heaters import SteamConfig
from controller.core.loops import allocation, capacity, constraints
from controller.core.loops.allocation import MoistureConfig, TemperatureConfig
from controller.core.loops.constraints import ConstraintsConfig
from controller.core.product.product import Product
from controller.core.setpoints import Targets

PRODUCT = Product(30.0, 31.0, 30.0, 0.0, "neutral", 9.0, 9.0, 9.0, 5.0, 0.0, True)
TARGETS = Targets(30.0, 36.0, 0.0, 95.5, 94.0, 3.0, 75.0, True, True, True)
LIMITS = constraints.bind(ConstraintsConfig(), 60.0)
DRY = ActuationConfig()
LIVE = ActuationConfig(heat=SteamConfig(kind="steam"))
ROOM = Achieved(59.4, 60.0, 1.0, 0.0, 0.0)


def air(t: float = 29.0, rh: float = 90.0, surface_below_K: float = 0.3) -> Climate:
    dew = dew_point_degC(t, rh)
    return Climate(
        t, t - 0.2, t + 0.2, 0.4, dew, humidity_ratio(saturation_pressure_Pa(dew)), rh, t - surface_below_K,
        "board bay 6 level 1", t - surface_below_K - 0.15, t - surface_below_K - dew, nan, t, 20.0, 8.0, 0.005, 9.0,
        4.0, nan, nan, True, True, True,
    )  # fmt: skip


def ask(config: ActuationConfig, climate: Climate, achieved: Achieved = ROOM):
    plan = allocation.bind(TemperatureConfig(), MoistureConfig(), config, load_t=120.0)
    limits = constraints.narrow(LIMITS, TARGETS, climate, PRODUCT)
    return allocation.allocate(plan, allocation.initial(plan), TARGETS, limits, climate, PRODUCT, achieved, 1.0)[1]


def test_what_steam_brings_need_not_come_as_fog() -> None:
    """3.715 kW of steam are 5 kg/h: by so much less fog is asked."""
    climate = air(rh=92.0)
    none = ask(LIVE, climate).fog_kg_per_h
    some = ask(LIVE, climate, replace(ROOM, heat_kW=3.715)).fog_kg_per_h
    assert none - some == pytest.approx(5.0, abs=0.01)
    assert ask(DRY, climate, replace(ROOM, heat_kW=3.715)).fog_kg_per_h == ask(DRY, climate).fog_kg_per_h


def test_steam_fades_towards_the_dew_limit_and_dry_heat_does_not() -> None:
    cold = replace(air(t=26.0, rh=80.0), temperature_degC=26.0)
    near = air(t=26.0, rh=97.0)  # dew point just below the limit
    assert ask(LIVE, cold).heat_kW > 50.0
    demands = ask(LIVE, near)
    assert 0.0 <= demands.heat_kW < 20.0
    assert capacity.STEAM in demands.why
    assert capacity.STEAM not in ask(DRY, near).why


def test_above_the_dew_limit_there_is_no_steam() -> None:
    wet = air(t=26.0, rh=98.0, surface_below_K=1.5)
    assert ask(LIVE, wet).heat_kW == 0.0


def test_without_a_good_dew_point_there_is_no_steam() -> None:
    assert ask(LIVE, replace(air(t=26.0), moisture_ok=False)).heat_kW == 0.0


def test_fog_as_steam_costs_no_heat_and_needs_none() -> None:
    """Droplets at 20 kg/h cost 13.5 kW; steam brings 0.7."""
    dry, steam = (
        allocation.bind(TemperatureConfig(), MoistureConfig(), config, load_t=120.0)
        for config in (DRY, replace(DRY, fog=FogConfig(kind="steam")))
    )
    assert 20.0 * dry.fog_kW_per_kg_h == pytest.approx(13.5, abs=0.05)
    assert 20.0 * steam.fog_kW_per_kg_h == pytest.approx(-0.7, abs=0.05)
    droplets, vapour = (capacity.fog_cap(kind, 25.0, 95.0, 9.0, 0.0, 100.0) for kind in (False, True))
    assert vapour == pytest.approx(3.6 * 9.0 * 25.0 * 5.0 / 95.0)
    assert droplets < 0.25 * vapour  # they cool the air that should take them up
    assert capacity.fog_cap(True, 25.0, 50.0, 9.0, 0.0, 100.0) == 100.0
