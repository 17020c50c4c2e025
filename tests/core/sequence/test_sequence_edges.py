"""The sequence at its edges: what exactly waits, arrives and moves on, also in what people have moved by a trim."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import nan

import pytest

from controller.core.frames import Command
from controller.core.sequence import sequence
from controller.core.sequence.recipe import End, Phase
from tests.core.sequence.conftest import COOL, HOLD, RAMP, Run, step

VENT = Phase(kind="vent", temperature_degC=20.0, in_band_K=0.25, end=End(in_band=True))


def air_of(run: Run, mean: float, coldest: float, hottest: float) -> None:
    run.air = replace(run.air, temperature_degC=mean, coldest_degC=coldest, hottest_degC=hottest)


@pytest.mark.parametrize("trim_K", [0.0, 0.5, -0.5])
def test_a_mean_exactly_at_the_holdback_waits_and_just_above_it_does_not(
    made: Callable[..., Run], trim_K: float
) -> None:
    run = made(RAMP, HOLD)
    run.at(24.0 + trim_K)
    assert step(run, floor_degC=25.0, trim_K=trim_K).waiting_s == 60.0
    run.at(24.001 + trim_K)
    assert step(run, floor_degC=25.0, trim_K=trim_K).phase_s == 60.0


@pytest.mark.parametrize("trim_K", [0.0, 0.5, -0.5])
def test_a_ramp_has_arrived_when_the_coldest_is_in_the_band_wherever_the_hottest_is(
    made: Callable[..., Run], trim_K: float
) -> None:
    run = made(RAMP, HOLD)
    air_of(run, 30.0 + trim_K, 29.75 + trim_K, 50.0)
    assert step(run, floor_degC=30.0, trim_K=trim_K).phase == 1
    air_of(run, 30.0 + trim_K, 29.749 + trim_K, 50.0)
    assert step(run, floor_degC=30.0, trim_K=trim_K).phase == 0


def test_a_ramp_that_is_there_waits_for_the_coldest_and_one_on_its_way_does_not(made: Callable[..., Run]) -> None:
    run = made(RAMP, HOLD)
    air_of(run, 30.0, 29.0, 30.5)
    there, on_its_way = step(run, floor_degC=30.0), step(run, floor_degC=29.9)
    assert (there.phase_s, there.waiting_s) == (0.0, 60.0)
    assert (on_its_way.phase_s, on_its_way.waiting_s) == (60.0, 0.0)
    timed = made(replace(RAMP, end=End(time_h=9.0)), HOLD)
    air_of(timed, 30.0, 29.0, 30.5)
    assert step(timed, floor_degC=30.0).phase_s == 60.0


def test_a_setpoint_arrives_exactly_and_stays(made: Callable[..., Run]) -> None:
    """The last step is only as long as it has to be; a phase that asks for its time stays there."""
    run = made(replace(RAMP, end=End(time_h=9.0)), HOLD)
    run.at(30.0)
    assert step(run, floor_degC=30.0 - 0.01).floor_degC == 30.0
    assert step(run, floor_degC=30.0 - 1.0 / 60.0).floor_degC == pytest.approx(30.0)
    stays = step(run, floor_degC=30.0)
    assert (stays.floor_degC, stays.ceiling_degC, stays.rate_K_per_h) == (30.0, 36.0, 0.0)
    cool = made(replace(COOL, end=End(time_h=9.0)))
    assert step(cool, floor_degC=26.01, ceiling_degC=26.01).ceiling_degC == 26.0
    stays = step(cool, floor_degC=26.0, ceiling_degC=26.0)
    assert (stays.floor_degC, stays.ceiling_degC, stays.rate_K_per_h) == (26.0, 26.0, 0.0)


def test_a_cooldown_lowers_its_ceiling_and_the_floor_only_where_it_is_one_setpoint(made: Callable[..., Run]) -> None:
    single = step(made(COOL), floor_degC=30.0, ceiling_degC=30.0)
    assert (single.floor_degC, single.ceiling_degC) == pytest.approx((30.0 - 2.0 / 60.0,) * 2)
    band = replace(COOL, temperature_degC=None, floor_degC=20.0, ceiling_degC=26.0)
    both = step(made(band), floor_degC=20.0, ceiling_degC=30.0)
    assert (both.floor_degC, both.ceiling_degC) == pytest.approx((20.0, 30.0 - 2.0 / 60.0))


def test_a_phase_that_stands_still_keeps_its_setpoint_whatever_it_is(made: Callable[..., Run]) -> None:
    """Also one that a restart has left below or above its own."""
    run = made(replace(HOLD, end=End(time_h=9.0)))
    run.at(30.0)
    for floor, ceiling in ((29.0, 36.0), (30.0, 37.0), (30.0, 30.0)):
        after = step(run, floor_degC=floor, ceiling_degC=ceiling)
        assert (after.floor_degC, after.ceiling_degC, after.rate_K_per_h) == (floor, ceiling, 0.0)
    rest = made(Phase(kind="rest", temperature_degC=20.0, end=End(time_h=9.0)))
    after = step(rest, floor_degC=19.0, ceiling_degC=21.0)
    assert (after.floor_degC, after.ceiling_degC) == (19.0, 21.0)


def test_a_fight_stops_only_a_ramp_that_lets_its_floor_sag(made: Callable[..., Run]) -> None:
    for phase, waits in ((RAMP, True), (replace(RAMP, heat_against_vent=True), False)):
        run = made(phase, HOLD)
        assert (step(run, floor_degC=20.0, fighting=True).waiting_s > 0.0) is waits
        assert step(run, floor_degC=20.0).waiting_s == 0.0
    hold = made(replace(HOLD, end=End(time_h=9.0)))
    hold.at(30.0)
    assert step(hold, fighting=True).waiting_s == 0.0


def test_nobody_fights_unless_it_is_said(made: Callable[..., Run]) -> None:
    run = made(RAMP, HOLD)
    after, _targets, _events = sequence.advance(
        run.plan, replace(run.state, trail=(), passed_on=()), (), run.air, run.product, "none", 60.0
    )
    assert after.waiting_s == 0.0


def test_a_humidity_floor_holds_back_only_a_ramp_that_has_one(made: Callable[..., Run]) -> None:
    for floor_pct, waits in ((94.0, True), (0.0, False), (20.0, False)):
        run = made(replace(RAMP, ramp_rh_floor_pct=floor_pct), HOLD)
        run.air = replace(run.air, surface_degC=17.0, dew_limit_degC=16.85)
        assert (step(run, floor_degC=20.0).waiting_s > 0.0) is waits


def test_a_ramp_without_a_humidity_floor_asks_for_no_surface(made: Callable[..., Run]) -> None:
    run = made(replace(RAMP, ramp_rh_floor_pct=0.0), HOLD)
    run.air = replace(run.air, surface_degC=nan, dew_limit_degC=nan, dew_point_degC=nan, rh_pct=nan)
    assert step(run, floor_degC=20.0).waiting_s == 0.0


def test_the_rate_is_smoothed_over_its_time_and_gone_when_it_is_nothing(made: Callable[..., Run]) -> None:
    run = made(RAMP, HOLD)
    assert step(run).rate_K_per_h == pytest.approx(1.0 * 60.0 / 360.0)
    assert step(run, rate_K_per_h=0.4).rate_K_per_h == pytest.approx(0.4 + 0.6 * 60.0 / 360.0)
    waits = {"floor_degC": 28.0}
    assert step(run, rate_K_per_h=0.6, **waits).rate_K_per_h == pytest.approx(0.5)
    assert step(run, rate_K_per_h=0.001, **waits).rate_K_per_h == 0.0
    assert step(run, rate_K_per_h=0.0012, **waits).rate_K_per_h == pytest.approx(0.001)
    assert step(run, rate_K_per_h=-0.0006).rate_K_per_h == pytest.approx(-0.0006 + 1.0006 / 6.0)


def test_a_moving_rate_is_kept_however_small(made: Callable[..., Run]) -> None:
    run = made(replace(RAMP, rate_K_per_h=0.003), HOLD)
    assert step(run).rate_K_per_h == pytest.approx(0.0005)


@pytest.mark.parametrize(("waited_s", "long"), [(4.9 * 3600.0, False), (5.0 * 3600.0 - 60.0, True)])
def test_waiting_is_long_from_its_time_on(made: Callable[..., Run], waited_s: float, long: bool) -> None:
    run = made(replace(RAMP, wait_alarm_h=5.0), HOLD)
    assert step(run, floor_degC=28.0, waiting_s=waited_s).waiting_long is long


@pytest.mark.parametrize(
    ("phase", "seen", "ends"),
    [
        (HOLD, (33.0, 29.75, 36.25), True), (HOLD, (33.0, 29.7, 36.25), False), (HOLD, (33.0, 29.75, 36.3), False),
        (VENT, (20.0, 0.0, 20.25), True), (VENT, (20.0, 20.0, 20.3), False),
        (replace(COOL, end=End(in_band=True)), (26.0, 0.0, 26.25), True),
        (replace(COOL, end=End(in_band=True)), (26.0, 26.0, 26.3), False),
    ],
)
def test_what_cools_looks_at_the_hottest_and_what_stands_at_both(
    made: Callable[..., Run], phase: Phase, seen: tuple[float, float, float], ends: bool
) -> None:
    run = made(phase, HOLD)
    air_of(run, *seen)
    assert (step(run).phase == 1) is ends


def test_a_cooldown_without_a_condition_ends_when_its_setpoint_is_there(made: Callable[..., Run]) -> None:
    run = made(COOL, HOLD)
    run.at(40.0)
    assert step(run, floor_degC=26.0, ceiling_degC=26.0).phase == 1
    assert step(run, floor_degC=26.5, ceiling_degC=26.5).phase == 0


def test_a_running_scan_keeps_what_it_does_not_change(made: Callable[..., Run]) -> None:
    run = made(RAMP, HOLD)
    after = step(run, held_s=7.0, cycle_s=100.0, phase_s=50.0, waiting_s=9.0, hold_start_s=3.0)
    assert after == replace(
        run.state, trail=(), passed_on=(), held_s=7.0, cycle_s=160.0, phase_s=110.0, waiting_s=9.0, hold_start_s=3.0,
        floor_degC=after.floor_degC, rate_K_per_h=after.rate_K_per_h, state_s=0.0, resume_floor_degC=None,
    )


def test_a_phase_begins_with_its_clocks_at_nought_from_the_mean_or_the_last_floor(made: Callable[..., Run]) -> None:
    for mean, floor in ((24.0, 24.0), (nan, 22.0)):
        run = made(replace(HOLD, end=End(time_h=1.0)), RAMP)
        run.at(mean)
        after = step(run, phase_s=9000.0, waiting_s=90_000.0, waiting_long=True, floor_degC=22.0, rate_K_per_h=0.5,
                     airing_s=77.0)
        assert (after.phase, after.phase_s, after.waiting_s, after.waiting_long) == (1, 0.0, 0.0, False)
        assert (after.floor_degC, after.rate_K_per_h, run.targets.rate_K_per_h) == (floor, 0.0, 0.0)
        assert after.airing_s == 0.0


@pytest.mark.parametrize("state", ["running", "held", "pausing", "stopping", "restarting"])
def test_orders_for_others_are_passed_on_in_every_state(made: Callable[..., Run], state: str) -> None:
    run = made(replace(HOLD, end=End(time_h=9.0)), HOLD)
    run.at(30.0)
    before = replace(run.state, state=state, trail=(), passed_on=())
    orders = (Command("a", "silence", "anna"), Command("b", "charge", "anna"))
    after, _targets, _events = sequence.advance(run.plan, before, orders, run.air, run.product, "none", 60.0)
    assert (after.for_alarms, after.passed_on, after.reset, after.acknowledge) == (orders[:1], orders[1:], (), False)


@pytest.mark.parametrize("verb", ["reset-trips", "acknowledge", "silence", "charge"])
@pytest.mark.parametrize("state", ["idle", "held", "running"])
def test_what_was_passed_on_is_passed_on_once(made: Callable[..., Run], state: str, verb: str) -> None:
    run = made(replace(HOLD, end=End(time_h=9.0)), HOLD)
    before = replace(run.state, state=state, trail=(), passed_on=())
    given = (Command("a", verb, "anna"),)
    asked, _targets, _events = sequence.advance(run.plan, before, given, run.air, run.product, "none", 60.0)
    assert [bool(one) for one in (asked.reset, asked.acknowledge, asked.for_alarms, asked.passed_on)].count(True) == 1
    after, _targets, _events = sequence.advance(run.plan, asked, (), run.air, run.product, "none", 60.0)
    assert (after.reset, after.acknowledge, after.for_alarms, after.passed_on) == ((), False, (), ())


def test_a_fan_that_rests_by_turns_goes_by_the_time_spent_in_its_phase(made: Callable[..., Run]) -> None:
    """On for 60 s, off for 540 s, seen from scans of a minute; what was spent waiting is spent too."""
    park = Phase(kind="park", floor_degC=18.0, ceiling_degC=40.0, rh_fog_below_pct=90.0, fan_on_s=60.0,
                 fan_off_s=540.0, end=End(by_operator=True))
    run = made(park)
    for phase_s, waiting_s, rests in (
        (0.0, 0.0, True), (480.0, 0.0, True), (540.0, 0.0, False), (600.0, 0.0, True), (100.0, 100.0, True),
        (240.0, 300.0, False),
    ):
        step(run, phase_s=phase_s, waiting_s=waiting_s)
        assert (run.targets.fan_pct == 0.0) is rests
    run.air = replace(run.air, surface_ok=False)
    assert step(run, phase_s=240.0, waiting_s=100.0).airing_s == 460.0  # 60 s more have passed, and one turn more


def test_a_ramp_waits_for_a_fight_also_in_a_scan_with_an_order(made: Callable[..., Run]) -> None:
    run = made(RAMP, HOLD)
    run.scan()
    run.fighting = True
    run.scan("acknowledge")
    assert run.state.waiting_s == 60.0


def test_the_first_hold_marks_its_begin_and_a_second_does_not(made: Callable[..., Run]) -> None:
    run = made(replace(HOLD, end=End(time_h=1.0)), replace(HOLD, end=End(time_h=1.0)))
    run.at(30.0)
    assert run.state.hold_start_s == 0.0
    run.hours(1.5)
    assert (run.state.phase, run.state.hold_start_s) == (1, 0.0)
