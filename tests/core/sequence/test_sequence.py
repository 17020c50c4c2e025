"""The sequence while it runs: phases, what moves their setpoints, holdback, and what ends them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.core.climate.climate import Climate
from controller.core.product.product import Product
from controller.core.sequence.recipe import End, Phase

Run = Any  # what the fixtures `run` and `make_run` give
MakeRun = Callable[..., Run]
Phases = dict[str, Phase]


def test_idle_asks_for_nothing_and_costs_no_new_state(run: Run) -> None:
    before = run.state
    assert run.scan() is before
    asked = run.targets
    assert (asked.heat, asked.fog, asked.vent, asked.fan_pct) == (False, False, False, 0.0)


def test_a_whole_cycle_goes_through_its_phases_in_order_and_completes(run: Run) -> None:
    run.scan("start")
    run.product = replace(run.product, age_h_min=12.0)
    run.hours(14.0, follow=True)
    assert run.state.phase == 2
    run.product = replace(run.product, age_h_min=20.0)
    run.hours(4.0, follow=True)
    assert run.state.state == "complete"
    begun = [dict(event.data)["kind"] for event in run.events if dict(event.data).get("what") == "begin"]
    assert begun == ["rest", "ramp", "hold", "cooldown", "vent"]
    assert run.state.hold_start_s == pytest.approx(11.0 * 3600.0, abs=600.0)
    assert (run.targets.heat, run.targets.fog, run.targets.vent) == (False, False, False)


def test_a_ramp_starts_from_the_measured_mean_and_moves_by_its_rate(run: Run) -> None:
    run.scan("start")
    run.at(23.0)
    run.hours(1.0)
    assert (run.state.phase, run.state.floor_degC, run.targets.ceiling_degC) == (1, 23.0, 36.0)
    run.hours(1.0, follow=True)
    assert run.state.floor_degC == pytest.approx(24.0, abs=0.02)
    assert run.targets.rate_K_per_h == pytest.approx(1.0, abs=0.01)


def test_a_ramp_of_one_setpoint_moves_floor_and_ceiling_together(
    make_run: MakeRun, phases: Phases, air: Climate, product: Product
) -> None:
    ramp = replace(phases["ramp"], floor_degC=None, ceiling_degC=None, temperature_degC=30.0)
    run = make_run(air, product, ramp, phases["hold"])
    run.at(20.0)
    run.scan("start")
    run.hours(2.0, follow=True)
    assert run.targets.floor_degC == run.targets.ceiling_degC == pytest.approx(22.0, abs=0.02)


def test_the_clock_of_a_ramp_waits_for_the_mean_and_goes_on_with_it(run: Run) -> None:
    run.scan("start")
    run.hours(1.0)
    run.hours(3.0)  # the air stays at 20
    floor, phase_s = run.state.floor_degC, run.state.phase_s
    assert floor == pytest.approx(21.0, abs=0.02)
    run.hours(1.0)
    assert (run.state.floor_degC, run.state.phase_s) == (floor, phase_s)
    assert run.state.waiting_s == pytest.approx(3.0 * 3600.0, abs=120.0)
    assert run.targets.rate_K_per_h == 0.0
    run.at(20.5)
    run.scan()
    assert run.state.floor_degC > floor


def test_waiting_too_long_is_flagged_and_the_flag_goes_with_the_phase(run: Run) -> None:
    run.scan("start")
    run.hours(1.0)
    run.hours(4.9)
    assert not run.state.waiting_long
    run.hours(0.3)
    assert run.state.waiting_long
    run.at(30.5)
    run.scan()
    run.scan()
    assert (run.state.phase, run.state.waiting_long, run.state.waiting_s) == (2, False, 0.0)


@pytest.mark.parametrize("reason", ["humidity", "fighting", "no reading"])
def test_a_ramp_also_waits_for_dry_boards_for_a_fight_and_for_readings(
    make_run: MakeRun, phases: Phases, air: Climate, product: Product, reason: str
) -> None:
    run = make_run(air, product, replace(phases["ramp"], ramp_rh_floor_pct=94.0), phases["hold"])
    run.at(20.0)
    run.air = replace(run.air, surface_degC=19.9, dew_limit_degC=19.75)
    run.scan("start")
    run.scan()
    floor = run.state.floor_degC
    assert floor > 20.0
    if reason == "humidity":
        run.air = replace(run.air, surface_degC=17.0, dew_limit_degC=16.85)
    elif reason == "fighting":
        run.fighting = True
    else:
        run.air = replace(run.air, temperature_degC=float("nan"))
    run.scan()
    assert run.state.floor_degC == floor
    assert run.state.waiting_s == run.dt_s


def test_hold_starts_when_the_coldest_probe_is_in_band_before_the_setpoint_is_there(run: Run) -> None:
    run.scan("start")
    run.hours(1.5, follow=True)
    assert run.state.floor_degC < 21.0
    run.air = replace(run.air, temperature_degC=30.3, coldest_degC=29.7)
    run.scan()
    assert run.state.phase == 1
    run.air = replace(run.air, coldest_degC=29.8)
    run.scan()
    assert (run.state.phase, run.targets.floor_degC, run.targets.ceiling_degC) == (2, 30.0, 36.0)


def test_targets_are_the_same_object_while_nothing_moves(run: Run) -> None:
    run.scan("start")
    run.scan()
    first = run.targets
    run.scan()
    assert run.targets is first


def test_a_hold_waits_too_while_the_mean_is_far_below(
    make_run: MakeRun, phases: Phases, air: Climate, product: Product
) -> None:
    run = make_run(air, product, replace(phases["hold"], end=End(time_h=1.0)))
    run.scan("start")
    run.hours(0.5)
    run.at(28.9)
    run.hours(3.0)
    assert run.state.phase_s == pytest.approx(1800.0)
    run.at(30.0)
    run.hours(0.5)
    assert run.state.state == "complete"


@pytest.mark.parametrize(
    ("end", "changes", "ends"),
    [
        (End(equivalent_age_h=12.0), {}, True),
        (End(equivalent_age_h=12.1), {}, False),
        (End(equivalent_age_h=12.0), {"ok": False}, False),
        (End(strength_MPa=5.0), {}, True),
        (End(strength_MPa=5.1), {}, False),
        (End(product_degC_above=31.0), {}, True),
        (End(product_degC_above=31.1), {}, False),
        (End(product_degC_below=32.0), {}, True),
        (End(product_degC_below=31.9), {}, False),
        (End(in_band=True), {}, True),
        (End(equivalent_age_h=12.0, at_least_h=1.0), {}, False),
        (End(match="all", equivalent_age_h=12.0, strength_MPa=5.1), {}, False),
        (End(match="all", equivalent_age_h=12.0, strength_MPa=5.0), {}, True),
        (End(match="any", equivalent_age_h=12.1, strength_MPa=5.0), {}, True),
        (End(match="all", equivalent_age_h=12.0, cycle_h=0.5), {}, False),
        (End(by_operator=True), {}, False),
    ],
)
def test_end_conditions(
    make_run: MakeRun, phases: Phases, air: Climate, product: Product, end: End, changes: dict[str, Any], ends: bool
) -> None:
    """A hold in band with product of 12 h, 5 MPa, core 31 (32 the hottest): does it end in its first scan?"""
    run = make_run(air, replace(product, **changes), replace(phases["hold"], end=end))
    run.scan("start")
    run.scan()
    assert (run.state.state == "complete") is ends


def test_longest_time_ends_a_phase_that_waits_forever(
    make_run: MakeRun, phases: Phases, air: Climate, product: Product
) -> None:
    run = make_run(air, product, replace(phases["ramp"], end=End(in_band=True, at_most_h=2.0)), phases["hold"])
    run.at(15.0)
    run.scan("start")
    run.hours(1.9)
    assert run.state.phase == 0
    run.hours(0.2)
    assert run.state.phase == 1


def test_cooldown_lets_the_ceiling_down_without_heat_and_with_vent(
    make_run: MakeRun, phases: Phases, air: Climate, product: Product
) -> None:
    run = make_run(air, product, phases["cooldown"], phases["vent"])
    run.scan("start")
    run.hours(1.0)
    assert run.targets.ceiling_degC == pytest.approx(28.0, abs=0.05)
    assert (run.targets.heat, run.targets.vent, run.targets.fog) == (False, True, False)
    assert run.targets.rate_K_per_h == pytest.approx(-2.0, abs=0.01)  # so that the vent can begin before it is too late
    run.hours(1.1)
    assert run.state.phase == 1
