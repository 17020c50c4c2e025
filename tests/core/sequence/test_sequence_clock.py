"""While the recipe's clock stands: what is kept and counted, how a restart goes on, and states that pass on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import nan

import pytest

from controller.core.orders.procedure import CONTROLLED
from controller.core.sequence import sequence
from controller.core.sequence.recipe import End
from tests.core.sequence.conftest import COOL, HOLD, RAMP, Run, step


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
        "airing_s": 4.0,
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


def test_a_restart_that_arrives_in_its_last_scan_has_arrived(made: Callable[..., Run]) -> None:
    run = made(RAMP, HOLD)
    before = replace(run.state, state="restarting", trail=(), passed_on=(), floor_degC=27.99, resume_floor_degC=28.0,
                     state_s=run.plan.restart_s_max)
    _state, _targets, events = sequence.advance(
        run.plan, before, (), run.air, run.product, "none", 60.0
    )
    assert dict(events[0].data)["why"] == "the setpoint is back where it stood"


def test_what_stops_after_a_restart_has_its_whole_time(made: Callable[..., Run]) -> None:
    run = made(RAMP, HOLD)
    run.state = replace(run.state, state="restarting", trail=(), passed_on=(), state_s=250.0)
    run.scan("stop")
    assert (run.state.state, run.state.state_s) == ("stopping", 0.0)


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
