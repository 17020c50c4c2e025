"""Cause and effect: each row trips on its own cause, in time, takes away what it says, and goes only when it may."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, replace
from typing import Any

import pytest

from controller.core.frames import Frame, Outputs
from controller.core.points import Point
from controller.core.protection import protection
from controller.core.protection.protection import HEALTHY, ProtectionConfig
from controller.core.rows.protection import NUMBER, ROWS
from controller.errors import ConfigError

Opened = Callable[..., Frame]
Written = Callable[..., Outputs]
Guard = Any  # what the fixtures `guard` and `make_guard` give


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


def test_every_row_has_its_cause_tested() -> None:
    elsewhere = {"door-long", "fog-stale"}  # test_standing_door, test_fog_stale
    assert {row for row, *_ in CAUSES} == set(NUMBER) - elsewhere


@pytest.mark.parametrize(("row", "cause", "scans", "effect", "still_on", "latched"), CAUSES)
def test_each_row_trips_in_time_and_takes_away_what_it_says(
    guard: Guard, bring: Callable[[str], None], row: str, cause: str, scans: int, effect: str, still_on: set[str],
    latched: bool,
) -> None:
    bring(cause)
    guard.scan(scans - 1)
    assert guard.verdict.trips == ()
    assert guard.scan().trips == (row,)
    assert guard.verdict.effect == effect
    assert guard.verdict.first_out == (row,)
    assert {name for name, is_on in guard.on().items() if is_on} == still_on
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
    guard: Guard, bring: Callable[[str], None], cause: str, off: str
) -> None:
    bring(cause)
    guard.scan()
    assert guard.verdict.trips == ()
    assert not guard.on()[off]
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
    make_guard: Callable[..., Guard], working: Outputs, frame: Frame, opened: Opened
) -> None:
    guard = make_guard(working, opened("ZS-101A"), delay_s={"door-open": 2.0}, latch={"door-open": True})
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
