"""Protection's last word on heat: only in proven air flow, a fan that runs on after it, and the same in any story."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.core.frames import Frame, Outputs
from controller.core.protection.protection import HEALTHY
from controller.core.rows.protection import ROWS

Guard = Any  # what the fixtures `guard` and `make_guard` give
Opened = Callable[..., Frame]
Written = Callable[..., Outputs]
TagOf = Callable[[Outputs, str], float | bool]


@pytest.mark.parametrize("wanted", list(itertools.product((False, True), repeat=4)))
def test_no_heat_without_proven_air_flow_in_every_combination(
    make_guard: Callable[..., Guard], written: Written, opened: Opened, wanted: tuple[bool, bool, bool, bool]
) -> None:
    """Goal: heat only with fan commanded and flow proven. Method: the whole truth table of fan asked for, flow
    contact, run contact and heat asked for, over 60 scans from a cold start."""
    fan, flow, runs, heat = wanted
    missing = [tag for tag, closed in (("FS-101", flow), ("YS-101", runs)) if not closed]
    asked = written(SC_101=75.0 if fan else 0.0, YC_101=fan, TCV_103=40.0 if heat else 0.0, YC_103=heat)
    guard = make_guard(asked, opened(*missing))
    for _ in range(60):
        guard.scan()
        reached = guard.on()
        assert not reached["heat"] or (flow and reached["fan"])
    assert guard.on()["heat"] is (fan and flow and runs and heat)


def test_start_up_gives_the_fan_its_time_and_no_heat_meanwhile(
    make_guard: Callable[..., Guard], working: Outputs, opened: Opened, frame: Frame
) -> None:
    guard = make_guard(working, opened("FS-101", "YS-101"))
    guard.scan(19)
    assert guard.verdict.trips == ()
    assert not guard.on()["heat"]
    guard.frame = frame
    guard.scan(60)
    assert guard.verdict is HEALTHY
    assert guard.on()["heat"]


def test_the_fan_runs_on_after_heat_and_then_stops(guard: Guard, written: Written, tag_of: TagOf) -> None:
    guard.asked = written()
    guard.scan(180)
    assert guard.on()["fan"]
    assert tag_of(guard.outputs, "SC-101") == 40.0
    guard.scan()
    assert not guard.on()["fan"]
    assert guard.scan() is HEALTHY


def test_a_fan_that_only_stirred_does_not_run_on(
    make_guard: Callable[..., Guard], written: Written, frame: Frame
) -> None:
    guard = make_guard(written(SC_101=75.0, YC_101=True), frame)
    guard.scan(30)
    guard.asked = written()
    guard.scan()
    assert not guard.on()["fan"]


def test_an_emergency_stop_stops_the_run_on_too(guard: Guard, bring: Callable[[str], None]) -> None:
    bring("HS-101")
    guard.scan(3)
    assert not guard.on()["fan"]


def test_after_a_block_the_valve_opens_slowly(guard: Guard, bring: Callable[[str], None], tag_of: TagOf) -> None:
    bring("FS-101")
    guard.scan()
    bring("")
    opening = []
    for _ in range(40):
        guard.scan()
        opening.append(float(tag_of(guard.outputs, "TCV-103")))
    assert max(b - a for a, b in itertools.pairwise([0.0, *opening])) <= 2.0 + 1e-9
    assert opening[-1] == 40.0


CONTACTS = ("HS-101", "TZS-103", "HS-103", "FS-101", "YS-101", "PS-102", "ZS-101A", "ZS-101F")


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(st.sets(st.sampled_from(CONTACTS), max_size=3), st.integers(1, 40), st.booleans(), st.booleans()),
        max_size=25,
    )
)
def test_in_any_story_what_is_blocked_is_off_and_latches_keep(
    make_guard: Callable[..., Guard], working: Outputs, written: Written, opened: Opened,
    story: list[tuple[set[str], int, bool, bool]],
) -> None:
    """Goal: the last word holds in every combination. Method: random contacts, waits and resets while everything is
    asked for (or nothing); what is blocked is off, heat has its air, and no latch goes without reset."""
    everything, nothing = working, written()
    guard = make_guard(everything, opened())
    latched = {row.tag for row in ROWS if row.latch}
    for open_now, scans, wants, resets in story:
        guard.frame = opened(*open_now)
        guard.asked = everything if wants else nothing
        for number in range(scans):
            before = set(guard.verdict.trips) & latched
            reset = (("r", "anna"),) if resets and number == 0 else ()
            guard.scan(reset=reset)
            reached = guard.on()
            names = {"frame heat": "frame"}
            assert not any(reached[names.get(name, name)] for name in guard.verdict.blocked)
            assert not reached["heat"] or (reached["fan"] and "FS-101" not in open_now)
            assert reset or before <= set(guard.verdict.trips)
            answers = [event for event in guard.verdict.events if event.kind == "command"]
            assert len(answers) == len(reset)


def test_stages_without_an_analog_output_go_off_with_their_contactor(
    make_guard: Callable[..., Guard], written: Written, opened: Opened, frame: Frame, tag_of: TagOf
) -> None:
    """Electric heat: no valve to close, contacts to open; the fan runs on as after any heat. YL-190 plays a stage."""
    asked = written(SC_101=75.0, YC_101=True, YC_103=True, YL_190=True, ZC_120=30.0)
    guard = make_guard(asked, frame, heat_valve="", heat_stages=("YL-190",))
    guard.scan(60)
    assert (guard.verdict, guard.outputs) == (HEALTHY, asked)
    guard.frame = opened("FS-101")
    guard.scan()
    assert [tag_of(guard.outputs, tag) for tag in ("YC-103", "YL-190", "YC-101")] == [False, False, True]
    assert tag_of(guard.outputs, "ZC-120") == 30.0
    guard.frame = frame
    guard.scan()
    assert guard.outputs == asked  # nothing to open slowly
