"""Time-proportioned pulses: exact mean, minimum on and off, strokes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.actuation import pulses
from controller.core.actuation.pulses import PulsePlan, PulseState

PLAN = PulsePlan(cycle_s=60.0, on_s_min=3.0, off_s_min=3.0)


def run(duties: list[float], plan: PulsePlan = PLAN) -> list[PulseState]:
    states = [pulses.at_rest(plan)]
    for duty in duties:
        states.append(pulses.step(plan, states[-1], duty, 1.0))
    return states[1:]


def lengths(ons: list[bool]) -> list[tuple[bool, int]]:
    runs: list[tuple[bool, int]] = []
    for on in ons:
        if runs and runs[-1][0] == on:
            runs[-1] = (on, runs[-1][1] + 1)
        else:
            runs.append((on, 1))
    return runs


@pytest.mark.parametrize("duty", [0.003, 0.01, 0.0333, 0.1, 0.31, 0.5, 0.77, 0.96, 0.99, 1.0])
def test_mean_duty_is_exact_over_a_hundred_cycles(duty: float) -> None:
    """What is still owed or ahead at the end is at most the shortest pulse or pause, never a drift."""
    on_s = sum(state.on for state in run([duty] * 6000))
    assert abs(on_s - duty * 6000) <= 3.5


@pytest.mark.parametrize("duty", [0.01, 0.2, 0.5, 0.94, 0.97])
def test_pulses_and_pauses_are_never_shorter_than_their_minimum(duty: float) -> None:
    inner = lengths([state.on for state in run([duty] * 3000)])[1:-1]
    assert inner
    assert all(length >= 3 for _, length in inner)


@given(st.lists(st.floats(0.0, 1.0), min_size=10, max_size=40))
def test_mean_follows_a_duty_that_changes_all_the_time(levels: list[float]) -> None:
    duties = [level for level in levels for _ in range(37)]
    states = run(duties)
    given_s = sum(state.on for state in states)
    assert abs(sum(duties) - given_s - states[-1].owed_s) < 1e-6 or abs(states[-1].owed_s) >= 59.0
    inner = lengths([state.on for state in states])[1:-1]
    assert all(length >= 3 for _, length in inner)


def test_at_most_one_stroke_a_cycle_however_the_demand_flickers() -> None:
    states = run([0.5 if k % 2 else 0.0 for k in range(1200)])
    assert states[-1].strokes <= 1200 / 60 + 1


def test_demand_that_ends_ends_the_pulse_after_its_minimum() -> None:
    states = run([0.9] * 2 + [0.0] * 10)
    assert [state.on for state in states] == [True] * 3 + [False] * 9


def test_a_too_small_demand_waits_until_a_whole_pulse_is_owed() -> None:
    states = run([0.02] * 240)  # 1.2 s a cycle
    assert lengths([state.on for state in states])[:2] == [(False, 120), (True, 4)]


def test_at_rest_nothing_changes() -> None:
    rest = pulses.at_rest(PLAN)
    assert pulses.step(PLAN, rest, 0.0, 1.0) is rest
    assert pulses.cut(PLAN, rest, 1.0) is rest


def test_an_interlock_beats_the_minimum_on_time_and_the_pause_holds_after_it() -> None:
    state = pulses.step(PLAN, pulses.at_rest(PLAN), 1.0, 1.0)
    assert state.on
    state = pulses.cut(PLAN, state, 1.0)
    assert not state.on
    ons = []
    for _ in range(6):
        state = pulses.step(PLAN, state, 1.0, 1.0)
        ons.append(state.on)
    assert ons == [False, False, True, True, True, True]


def test_nothing_is_owed_for_the_time_of_an_interlock() -> None:
    state = pulses.at_rest(PLAN)
    for _ in range(30):
        state = pulses.step(PLAN, state, 0.5, 1.0)
    assert pulses.cut(PLAN, state, 1.0).owed_s == 0.0


def test_what_is_owed_or_was_given_too_much_is_at_most_one_cycle() -> None:
    """Else a long time in which it could not switch would be made up for by a long time at full."""
    owing = PulseState(on=False, since_s=0.0, cycle_s=0.0, owed_s=60.0)
    assert pulses.step(PLAN, owing, 1.0, 1.0).owed_s == 60.0
    ahead = PulseState(on=True, since_s=0.0, cycle_s=0.0, left_s=30.0, owed_s=-60.0)
    assert pulses.step(PLAN, ahead, 0.0, 1.0).owed_s == -60.0
