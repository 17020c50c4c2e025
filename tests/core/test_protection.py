"""Cause and effect: each row trips on its own cause, in time, takes away what it says, and goes only when it may."""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable
from dataclasses import asdict, replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.core import protection
from controller.core.climate import Climate
from controller.core.frames import Event, Frame, Outputs
from controller.core.points import Point
from controller.core.protection import HEALTHY, ProtectionConfig, Verdict
from controller.core.protection_rows import NUMBER, ROWS
from controller.errors import ConfigError

Opened = Callable[..., Frame]
Written = Callable[..., Outputs]
TagOf = Callable[[Outputs, str], float | bool]
WORKING: dict[str, float | bool] = {
    "SC_101": 75.0, "TCV_103": 40.0, "ZC_120": 5.0, "YC_101": True, "YC_103": True, "XV_102A": True, "XV_102B": True,
    "YC_106": True,
}


class Guard:
    """Protection over scans of one second; asks for the same outputs all the time."""

    def __init__(self, points: tuple[Point, ...], outputs: Outputs, frame: Frame, air: Climate, **config: Any) -> None:
        self.plan = protection.bind(ProtectionConfig(**config), points)
        self.state = protection.initial(self.plan)
        self.asked, self.frame, self.air = outputs, frame, air
        self.sequence = "running"
        self.watchdog = False
        self.outputs = outputs
        self.verdict: Verdict = HEALTHY
        self.events: list[Event] = []

    def scan(self, scans: int = 1, reset: tuple[tuple[str, str], ...] = ()) -> Verdict:
        for _ in range(scans):
            self.state, self.outputs, self.verdict = protection.guard(
                self.plan, self.state, self.asked, self.frame, self.air, self.sequence, reset, 1.0, self.watchdog
            )
            self.events.extend(self.verdict.events)
        return self.verdict


@pytest.fixture
def guard(points: tuple[Point, ...], written: Written, frame: Frame, air: Climate) -> Guard:
    """A chamber that heats and fogs, and has done so for a minute."""
    made = Guard(points, written(**WORKING), frame, air)
    made.scan(60)
    assert made.verdict is HEALTHY
    return made


def on(guard: Guard, tag_of: TagOf) -> dict[str, bool]:
    """What reaches the chamber."""
    out = guard.outputs
    return {
        "heat": bool(tag_of(out, "YC-103")) or tag_of(out, "TCV-103") > 0.0,
        "fog": bool(tag_of(out, "XV-102A")) or bool(tag_of(out, "XV-102B")),
        "fan": bool(tag_of(out, "YC-101")) and tag_of(out, "SC-101") > 0.0,
        "frame": bool(tag_of(out, "YC-106")),
        "vent open": tag_of(out, "ZC-120") == 100.0,
    }


def test_a_healthy_scan_passes_the_same_objects_on(guard: Guard) -> None:
    before = guard.state
    assert guard.scan() is HEALTHY
    assert guard.state is before
    assert guard.outputs is guard.asked


# row, what happens, scans until it trips, effect, what is still on, latched
CAUSES: list[tuple[str, str, int, str, set[str], bool]] = [
    ("emergency-stop", "HS-101", 1, "abort", set(), True),
    ("limiter", "TZS-103", 1, "hold", {"fog", "fan", "frame", "vent open"}, True),
    ("person-inside", "HS-103", 1, "hold", {"vent open"}, True),
    ("airflow-lost", "FS-101", 10, "hold", {"fan", "frame"}, True),
    ("airflow-lost", "YS-101", 10, "hold", {"fan", "frame"}, True),
    ("air-too-hot", "hottest", 5, "hold", {"fog", "fan", "frame", "vent open"}, True),
    ("supply-too-hot", "TT-108", 10, "hold", {"fog", "fan", "frame"}, True),
    ("product-too-hot", "TT-104B", 60, "hold", {"fog", "fan", "frame", "vent open"}, True),
    ("door-open", "ZS-101C", 30, "door", {"fan", "frame"}, False),
    ("temperature-bad", "temperature_ok", 5, "hold", {"fog", "fan", "frame"}, False),
    ("humidity-bad", "moisture_ok", 5, "hold", {"heat", "fan", "frame"}, False),
    ("link-lost", "age", 1, "hold", {"fan"}, True),
    ("watchdog", "watchdog", 1, "hold", {"fan"}, True),
    ("fog-pressure", "PS-102", 3, "none", {"heat", "fan", "frame"}, True),
]


@pytest.fixture
def bring(
    guard: Guard, opened: Opened, reading: Callable[..., Frame], frame: Frame, air: Climate
) -> Callable[[str], None]:
    """Make a cause come about; "" takes every cause away."""

    def bring_(cause: str) -> None:
        guard.frame, guard.air, guard.watchdog = frame, air, cause == "watchdog"
        if cause == "hottest":
            guard.air = replace(air, hottest_degC=48.1)
        elif cause in ("temperature_ok", "moisture_ok"):
            guard.air = replace(air, **{cause: False})
        elif cause == "age":
            guard.frame = replace(frame, age_scans=4)
        elif cause.startswith("TT-"):
            guard.frame = reading(cause, 61.0)
        elif cause not in ("", "watchdog"):
            guard.frame = opened(cause)

    return bring_


def test_every_row_has_its_cause_tested() -> None:
    assert {row for row, *_ in CAUSES} == set(NUMBER)


@pytest.mark.parametrize(("row", "cause", "scans", "effect", "still_on", "latched"), CAUSES)
def test_each_row_trips_in_time_and_takes_away_what_it_says(
    guard: Guard, bring: Callable[[str], None], tag_of: TagOf, row: str, cause: str, scans: int, effect: str,
    still_on: set[str], latched: bool,
) -> None:
    bring(cause)
    guard.scan(scans - 1)
    assert guard.verdict.trips == ()
    assert guard.scan().trips == (row,)
    assert guard.verdict.effect == effect
    assert guard.verdict.first_out == (row,)
    assert {name for name, is_on in on(guard, tag_of).items() if is_on} == still_on
    assert [event.tag for event in guard.events if event.kind == "trip"] == [row]
    assert ROWS[NUMBER[row]].latch is latched


@pytest.mark.parametrize(("row", "cause", "scans", "effect", "still_on", "latched"), CAUSES)
def test_a_latched_row_stays_until_reset_and_reset_waits_for_the_cause(
    guard: Guard, bring: Callable[[str], None], row: str, cause: str, scans: int, effect: str, still_on: set[str],
    latched: bool,
) -> None:
    bring(cause)
    guard.scan(scans)
    guard.scan(reset=(("r1", "anna"),))
    answer = dict(guard.verdict.events[-1].data)
    assert guard.verdict.trips == (row,)
    if latched:
        assert (answer["id"], answer["outcome"]) == ("r1", "refused")
        assert ROWS[NUMBER[row]].text in str(answer["reason"])
    bring("")
    guard.scan(120)
    assert (guard.verdict.trips == (row,)) is latched
    guard.scan(reset=(("r2", "bert"),))
    assert dict(guard.verdict.events[-1].data)["outcome"] == "done"
    assert guard.verdict.trips == ()
    guard.scan(60)
    assert guard.verdict is HEALTHY


def test_a_cause_shorter_than_its_delay_trips_nothing(guard: Guard, bring: Callable[[str], None]) -> None:
    for _ in range(5):
        bring("FS-101")
        guard.scan(9)
        bring("")
        guard.scan()
    assert not guard.events


def test_an_unlatched_row_waits_for_its_release_time(guard: Guard, bring: Callable[[str], None]) -> None:
    bring("temperature_ok")
    guard.scan(5)
    bring("")
    guard.scan(59)
    assert guard.verdict.trips == ("temperature-bad",)
    guard.scan()
    assert guard.verdict.trips == ()


@pytest.mark.parametrize(
    ("cause", "off"), [("FS-101", "heat"), ("ZS-101A", "fog"), ("temperature_ok", "heat"), ("moisture_ok", "fog")]
)
def test_some_outputs_go_at_once_before_the_row_trips(
    guard: Guard, bring: Callable[[str], None], tag_of: TagOf, cause: str, off: str
) -> None:
    bring(cause)
    guard.scan()
    assert guard.verdict.trips == ()
    assert not on(guard, tag_of)[off]
    assert off in guard.verdict.blocked


def test_first_out_is_kept_while_others_follow_and_goes_with_the_last(
    guard: Guard, opened: Opened, frame: Frame
) -> None:
    guard.frame = opened("TZS-103")
    guard.scan()
    guard.frame = opened("TZS-103", "HS-101")
    guard.scan()
    assert guard.verdict.trips == ("emergency-stop", "limiter")
    assert (guard.verdict.first_out, guard.verdict.effect) == (("limiter",), "abort")
    guard.frame = frame
    guard.scan(reset=(("r", "anna"),))
    assert guard.verdict.first_out == ()


def test_causes_of_one_scan_are_all_first_out(guard: Guard, opened: Opened) -> None:
    guard.frame = opened("TZS-103", "HS-101")
    guard.scan()
    assert guard.verdict.first_out == ("emergency-stop", "limiter")


@pytest.mark.parametrize("wanted", list(itertools.product((False, True), repeat=4)))
def test_no_heat_without_proven_air_flow_in_every_combination(
    points: tuple[Point, ...], written: Written, opened: Opened, frame: Frame, air: Climate, tag_of: TagOf,
    wanted: tuple[bool, bool, bool, bool],
) -> None:
    """Goal: heat only with fan commanded and flow proven. Method: the whole truth table of fan asked for, flow
    contact, run contact and heat asked for, over 60 scans from a cold start."""
    fan, flow, runs, heat = wanted
    missing = [tag for tag, closed in (("FS-101", flow), ("YS-101", runs)) if not closed]
    asked = written(SC_101=75.0 if fan else 0.0, YC_101=fan, TCV_103=40.0 if heat else 0.0, YC_103=heat)
    guard = Guard(points, asked, opened(*missing), air)
    for _ in range(60):
        guard.scan()
        reached = on(guard, tag_of)
        assert not reached["heat"] or (flow and reached["fan"])
    assert on(guard, tag_of)["heat"] is (fan and flow and runs and heat)


def test_start_up_gives_the_fan_its_time_and_no_heat_meanwhile(
    points: tuple[Point, ...], written: Written, opened: Opened, frame: Frame, air: Climate, tag_of: TagOf
) -> None:
    guard = Guard(points, written(**WORKING), opened("FS-101", "YS-101"), air)
    guard.scan(19)
    assert guard.verdict.trips == ()
    assert not on(guard, tag_of)["heat"]
    guard.frame = frame
    guard.scan(60)
    assert guard.verdict is HEALTHY
    assert on(guard, tag_of)["heat"]


def test_the_fan_runs_on_after_heat_and_then_stops(guard: Guard, written: Written, tag_of: TagOf) -> None:
    guard.asked = written()
    guard.scan(180)
    assert on(guard, tag_of)["fan"]
    assert tag_of(guard.outputs, "SC-101") == 40.0
    guard.scan()
    assert not on(guard, tag_of)["fan"]
    assert guard.scan() is HEALTHY


def test_a_fan_that_only_stirred_does_not_run_on(
    points: tuple[Point, ...], written: Written, frame: Frame, air: Climate, tag_of: TagOf
) -> None:
    guard = Guard(points, written(SC_101=75.0, YC_101=True), frame, air)
    guard.scan(30)
    guard.asked = written()
    guard.scan()
    assert not on(guard, tag_of)["fan"]


def test_an_emergency_stop_stops_the_run_on_too(guard: Guard, bring: Callable[[str], None], tag_of: TagOf) -> None:
    bring("HS-101")
    guard.scan(3)
    assert not on(guard, tag_of)["fan"]


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


def test_at_rest_neither_a_tripped_watchdog_nor_missing_fog_water_is_a_fault(
    guard: Guard, opened: Opened, written: Written
) -> None:
    guard.sequence, guard.watchdog, guard.frame = "idle", True, opened("PS-102")
    guard.asked = written()
    guard.scan(300)
    assert guard.verdict.trips == ()


def test_switches_in_hand_are_no_cause(guard: Guard, opened: Opened) -> None:
    guard.frame = opened("HS-111", "HS-112", "HS-113")
    assert guard.scan(100) is HEALTHY


def test_unknown_readings_are_no_cause_of_a_hot_row(guard: Guard, reading: Callable[..., Frame]) -> None:
    guard.frame = reading("TT-108", float("nan"), 2)
    guard.air = replace(guard.air, hottest_degC=float("nan"))
    assert guard.scan(100) is HEALTHY


def test_delays_and_latches_may_be_set_in_the_chamber_file(
    points: tuple[Point, ...], written: Written, frame: Frame, air: Climate, opened: Opened
) -> None:
    guard = Guard(
        points, written(**WORKING), opened("ZS-101A"), air, delay_s={"door-open": 2.0}, latch={"door-open": True}
    )
    assert guard.scan(2).trips == ("door-open",)
    guard.frame = frame
    assert guard.scan(100).trips == ("door-open",)


def test_every_unknown_tag_and_row_is_named_at_once(points: tuple[Point, ...]) -> None:
    with pytest.raises(ConfigError) as refused:
        protection.bind(ProtectionConfig(airflow="FS-999", doors=("ZS-9", "ZS-101A"), delay_s={"flood": 1.0}), points)
    assert {problem.value for problem in refused.value.problems} == {"FS-999", "ZS-9", "flood"}


def test_the_state_is_plain_json(guard: Guard, bring: Callable[[str], None]) -> None:
    bring("HS-101")
    guard.scan()
    json.dumps(asdict(guard.state), allow_nan=False)


CONTACTS = ("HS-101", "TZS-103", "HS-103", "FS-101", "YS-101", "PS-102", "ZS-101A", "ZS-101F")


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(st.sets(st.sampled_from(CONTACTS), max_size=3), st.integers(1, 40), st.booleans(), st.booleans()),
        max_size=25,
    )
)
def test_in_any_story_what_is_blocked_is_off_and_latches_keep(
    points: tuple[Point, ...], written: Written, opened: Opened, air: Climate, tag_of: TagOf,
    story: list[tuple[set[str], int, bool, bool]],
) -> None:
    """Goal: the last word holds in every combination. Method: random contacts, waits and resets while everything is
    asked for (or nothing); what is blocked is off, heat has its air, and no latch goes without reset."""
    everything, nothing = written(**WORKING), written()
    guard = Guard(points, everything, opened(), air)
    latched = {row.tag for row in ROWS if row.latch}
    for open_now, scans, wants, resets in story:
        guard.frame = opened(*open_now)
        guard.asked = everything if wants else nothing
        for number in range(scans):
            before = set(guard.verdict.trips) & latched
            reset = (("r", "anna"),) if resets and number == 0 else ()
            guard.scan(reset=reset)
            reached = on(guard, tag_of)
            names = {"frame heat": "frame"}
            assert not any(reached[names.get(name, name)] for name in guard.verdict.blocked)
            assert not reached["heat"] or (reached["fan"] and "FS-101" not in open_now)
            assert reset or before <= set(guard.verdict.trips)
            answers = [event for event in guard.verdict.events if event.kind == "command"]
            assert len(answers) == len(reset)
