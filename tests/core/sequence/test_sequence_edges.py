"""The sequence at its edges: what exactly waits, arrives and moves on, also in what people have moved by a trim."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import nan
from typing import Any

import pytest

from controller.core.climate.climate import Climate
from controller.core.orders.procedure import CONTROLLED
from controller.core.product.product import Product
from controller.core.sequence import sequence
from controller.core.sequence.recipe import End, Phase
from controller.core.sequence.sequence import SequenceState

Run = Any  # what the fixtures `run` and `make_run` give
MakeRun = Callable[..., Run]
RAMP = Phase(kind="ramp", floor_degC=30.0, ceiling_degC=36.0, rate_K_per_h=1.0, rh_fog_below_pct=95.0, in_band_K=0.25,
             holdback_K=1.0)
HOLD = Phase(kind="hold", floor_degC=30.0, ceiling_degC=36.0, rh_fog_below_pct=95.0, in_band_K=0.25, holdback_K=1.0,
             end=End(in_band=True))
COOL = Phase(kind="cooldown", temperature_degC=26.0, rate_K_per_h=2.0, in_band_K=0.25)
VENT = Phase(kind="vent", temperature_degC=20.0, in_band_K=0.25, end=End(in_band=True))


@pytest.fixture
def made(make_run: MakeRun, air: Climate, product: Product) -> Callable[..., Run]:
    """A run over some phases, started, in air of 20 degC."""

    def make(*phases: Phase, dt_s: float = 60.0) -> Run:
        run = make_run(air, product, *phases, dt_s=dt_s)
        run.at(20.0)
        run.scan("start")
        return run

    return make


def step(run: Run, *, trim_K: float = 0.0, fighting: bool = False, **state: Any) -> SequenceState:
    """One scan from this state, which is left as it was."""
    before = replace(run.state, trail=(), passed_on=(), **state)
    after, run.targets, _events = sequence.advance(
        run.plan, before, (), run.air, run.product, "none", run.dt_s, fighting, "", trim_K
    )
    return after


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


def test_the_first_hold_marks_its_begin_and_a_second_does_not(made: Callable[..., Run]) -> None:
    run = made(replace(HOLD, end=End(time_h=1.0)), replace(HOLD, end=End(time_h=1.0)))
    run.at(30.0)
    assert run.state.hold_start_s == 0.0
    run.hours(1.5)
    assert (run.state.phase, run.state.hold_start_s) == (1, 0.0)


@pytest.mark.parametrize("state", sorted(CONTROLLED - {"running"}))
def test_the_climate_is_kept_at_the_last_setpoint_while_the_clock_stands(
    made: Callable[..., Run], state: str
) -> None:
    run = made(RAMP, HOLD)
    step(run, state=state, floor_degC=27.0, ceiling_degC=33.0, rate_K_per_h=0.5)
    phase = run.plan.phases[0]
    asked = replace(phase.targets, floor_degC=run.targets.floor_degC, ceiling_degC=33.0)
    assert run.targets == asked
    assert 27.0 <= run.targets.floor_degC <= 27.1


@pytest.mark.parametrize("state", ["held", "paused"])
def test_a_clock_that_stands_counts_its_time_and_changes_nothing_else(made: Callable[..., Run], state: str) -> None:
    run = made(RAMP, HOLD)
    before = {
        "state": state, "phase_s": 5.0, "cycle_s": 6.0, "held_s": 7.0, "floor_degC": 27.0, "ceiling_degC": 33.0,
        "waiting_s": 8.0, "waiting_long": True, "hold_start_s": 2.0, "resume_floor_degC": 28.0,
    }
    after = step(run, rate_K_per_h=0.5, state_s=9.0, **before)
    assert after == replace(
        run.state, trail=(), passed_on=(), **{**before, "held_s": 67.0, "rate_K_per_h": 0.0, "state_s": 0.0}
    )


@pytest.mark.parametrize(
    ("state", "following", "counts"),
    [("pausing", "paused", True), ("holding", "held", True), ("aborting", "aborted", False)],
)
def test_states_that_only_pass_on_last_one_scan(
    made: Callable[..., Run], state: str, following: str, counts: bool
) -> None:
    run = made(RAMP, HOLD)
    after = step(run, state=state, rate_K_per_h=0.5, held_s=7.0)
    assert (after.state, after.trail, after.state_s, after.rate_K_per_h) == (following, (following,), 0.0, 0.0)
    assert after.held_s == (67.0 if counts else 7.0)


def test_stopping_lasts_its_time(made: Callable[..., Run]) -> None:
    run = made(RAMP, HOLD)
    assert run.plan.stop_s == 300.0
    early = step(run, state="stopping", state_s=239.0, held_s=7.0)
    assert (early.state, early.state_s, early.held_s, early.trail) == ("stopping", 299.0, 7.0, ())
    assert run.targets.vent
    assert not run.targets.heat
    late = step(run, state="stopping", state_s=240.0)
    assert (late.state, late.state_s, late.trail) == ("stopped", 0.0, ("stopped",))
    assert run.targets is run.plan.rest


def test_a_restart_moves_by_the_faster_of_its_own_rate_and_that_of_a_ramp(made: Callable[..., Run]) -> None:
    """2 K/h of its own; a ramp of 3 K/h is faster, one of 1 K/h and a cooldown of 3 K/h are not asked."""
    for phase, rate in (
        (replace(RAMP, rate_K_per_h=3.0), 3.0), (RAMP, 2.0), (replace(COOL, rate_K_per_h=3.0), 2.0),
        (replace(HOLD, end=End(time_h=9.0)), 2.0),
    ):
        after = step(made(phase), state="restarting", floor_degC=25.0, ceiling_degC=33.0, resume_floor_degC=28.0)
        assert after.floor_degC == pytest.approx(25.0 + rate / 60.0)
        assert (after.state, after.resume_floor_degC, after.ceiling_degC) == ("restarting", 28.0, 33.0)


def test_a_restart_ends_at_its_goal_and_takes_one_setpoint_along(made: Callable[..., Run]) -> None:
    run = made(RAMP, HOLD)
    near = step(run, state="restarting", floor_degC=27.99, ceiling_degC=33.0, resume_floor_degC=28.0, held_s=7.0)
    assert (near.state, near.floor_degC, near.ceiling_degC, near.resume_floor_degC) == ("running", 28.0, 33.0, None)
    assert near.held_s == 67.0
    single = step(run, state="restarting", floor_degC=27.0, ceiling_degC=27.0, resume_floor_degC=28.0)
    assert single.floor_degC == single.ceiling_degC > 27.0
    nowhere = step(run, state="restarting", floor_degC=27.0, ceiling_degC=33.0, resume_floor_degC=None)
    assert (nowhere.state, nowhere.floor_degC) == ("running", 27.0)


def test_a_restart_gives_up_after_its_longest_time(made: Callable[..., Run]) -> None:
    run = made(RAMP, HOLD)
    longest = run.plan.restart_s_max
    given = {"state": "restarting", "floor_degC": 20.0, "ceiling_degC": 33.0, "resume_floor_degC": 28.0}
    early = step(run, state_s=longest - 61.0, **given)
    assert (early.state, early.state_s) == ("restarting", longest - 1.0)
    late = step(run, state_s=longest - 60.0, **given)
    assert (late.state, late.floor_degC) == ("running", 28.0)


@pytest.mark.parametrize(
    ("mean", "floor", "resume", "begins", "goal"),
    [
        (25.0, 27.0, None, 25.0, 27.0), (29.0, 27.0, None, 27.0, 27.0), (nan, 27.0, None, 27.0, 27.0),
        (25.0, 26.0, 28.0, 25.0, 28.0), (29.0, 26.0, 28.0, 28.0, 28.0), (nan, 26.0, 28.0, 28.0, 28.0),
    ],
)
def test_a_restart_begins_at_the_mean_and_remembers_where_it_stood(
    made: Callable[..., Run], mean: float, floor: float, resume: float | None, begins: float, goal: float
) -> None:
    run = made(RAMP, HOLD)
    for ceiling in (36.0, floor):
        run.state = replace(
            run.state, state="held", trail=(), passed_on=(), floor_degC=floor, ceiling_degC=ceiling,
            resume_floor_degC=resume,
        )
        run.air = replace(run.air, temperature_degC=mean)
        run.scan("restart")
        assert (run.state.floor_degC, run.state.resume_floor_degC) == (begins, goal)
        assert run.state.ceiling_degC == (begins if ceiling == floor else ceiling)


def test_entering_a_state_sets_its_clock_and_the_rate_to_nought(made: Callable[..., Run]) -> None:
    run = made(RAMP, HOLD)
    run.hours(0.5, follow=True)
    assert run.state.rate_K_per_h > 0.5
    run.scan("hold", "stop")
    assert (run.state.state_s, run.state.rate_K_per_h, run.state.trail) == (0.0, 0.0, ("holding", "stopping"))


def test_a_scan_without_orders_or_effects_at_rest_gives_the_same_state(made: Callable[..., Run]) -> None:
    run = made(RAMP, HOLD)
    for state in ("idle", "stopped", "aborted", "complete"):
        before = replace(run.state, state=state, trail=(), passed_on=())
        after, targets, events = sequence.advance(
            run.plan, before, (), run.air, run.product, "none", 60.0
        )
        assert after is before
        assert targets is run.plan.rest
        assert events == ()


def test_an_effect_stops_in_its_scan_whatever_was_ordered(made: Callable[..., Run]) -> None:
    run = made(RAMP, HOLD)
    run.scan()
    run.effect = "hold"
    run.scan("acknowledge")
    assert (run.state.state, run.state.acknowledge) == ("holding", True)
