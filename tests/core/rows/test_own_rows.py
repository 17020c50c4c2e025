"""Rows that a chamber adds: the whole truth table of votes, and everything that is refused."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import product
from math import nan
from typing import Any

import pytest

from controller.core.alarms import alarms
from controller.core.alarms.alarms import AlarmsConfig
from controller.core.binding import Binder
from controller.core.climate.climate import Climate
from controller.core.frames import Frame, Outputs
from controller.core.points import Point, of_kind
from controller.core.protection import protection
from controller.core.protection.protection import ProtectionConfig
from controller.core.rows import own as own_rows
from controller.core.rows.own import OwnRow
from controller.core.rows.protection import ROWS
from controller.errors import ConfigError

SAYS = {"cause": "it leaks", "consequence": "it is wet", "action": "mend it"}
CONTACTS, READINGS = ("PS-102", "YS-110"), ("TT-110", "TT-111")


def made(points: tuple[Point, ...], **changes: Any) -> tuple[own_rows.Row, own_rows.Votes]:
    binder = Binder("protection", points)
    rows, votes = own_rows.bind((OwnRow(**{"tag": "leak", "text": "a leak", **SAYS, **changes}),), binder)
    binder.done()
    return rows[0], votes[0]


def seen(points: tuple[Point, ...], frame: Frame, open_: tuple[str, ...], readings: dict[str, float]) -> Frame:
    closed = tuple(point.tag not in open_ for point in of_kind(points, "DI"))
    pairs = zip(of_kind(points, "AI"), frame.values, strict=True)
    values = tuple(readings.get(point.tag, value) for point, value in pairs)
    return replace(frame, discrete=closed, values=values)


@pytest.mark.parametrize("votes", [1, 2, 3, 4])
@pytest.mark.parametrize("bad_counts", [False, True])
@pytest.mark.parametrize(
    "state", list(product((False, True), (False, True), ("low", "fine", "high", "gone"), (False, True)))
)
def test_the_truth_table_of_votes(
    points: tuple[Point, ...], frame: Frame, votes: int, bad_counts: bool, state: tuple[bool, bool, str, bool]
) -> None:
    """Two contacts and two readings: the cause is there just when enough of them vote."""
    first, second, reading, other_high = state
    value = {"low": 4.0, "fine": 20.0, "high": 31.0, "gone": nan}[reading]
    _row, cause = made(points, contacts=CONTACTS, readings=READINGS, above=30.0, below=5.0, votes=votes,
                       bad_counts=bad_counts)
    opened = tuple(tag for tag, open_ in zip(CONTACTS, (first, second), strict=True) if open_)
    given = seen(points, frame, opened, {"TT-110": value, "TT-111": 40.0 if other_high else 20.0})
    count = first + second + other_high + (reading in ("low", "high") or (reading == "gone" and bad_counts))
    assert own_rows.causes((cause,), given, working=True) == (count >= votes,)


@pytest.mark.parametrize(("working_only", "working", "there"), [
    (False, False, True), (False, True, True), (True, False, False), (True, True, True),
])
def test_some_causes_count_only_while_a_cycle_is_in_progress(
    points: tuple[Point, ...], opened: Callable[..., Frame], working_only: bool, working: bool, there: bool
) -> None:
    _row, cause = made(points, contacts=("PS-102",), working_only=working_only)
    assert own_rows.causes((cause,), opened("PS-102"), working) == (there,)


def test_a_limit_itself_is_still_well(points: tuple[Point, ...], frame: Frame) -> None:
    _row, cause = made(points, readings=("TT-110",), above=30.0, below=5.0)
    for value, there in ((30.0, False), (30.001, True), (5.0, False), (4.999, True)):
        assert own_rows.causes((cause,), seen(points, frame, (), {"TT-110": value}), True) == (there,)


@pytest.mark.parametrize(("limits", "votes"), [
    ({"above": 30.0}, [False, False, True]), ({"below": 5.0}, [True, False, False]),
])
def test_one_limit_alone_says_nothing_of_the_other_side(
    points: tuple[Point, ...], frame: Frame, limits: dict[str, float], votes: list[bool]
) -> None:
    _row, cause = made(points, readings=("TT-110",), **limits)
    found = [own_rows.causes((cause,), seen(points, frame, (), {"TT-110": v}), True) for v in (-200.0, 20.0, 500.0)]
    assert found == [(vote,) for vote in votes]


def test_effects_become_what_the_protection_takes_away(points: tuple[Point, ...]) -> None:
    row, _cause = made(points, contacts=("PS-102",), at_once=("fog",), blocks=("heat", "vent open"), delay_s=3.0)
    assert (row.at_once, row.blocks, row.delay_s) == (own_rows.FOG, own_rows.HEAT | own_rows.VENT_OPEN, 3.0)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"contacts": ("XX-1",)}, "XX-1"),
        ({"contacts": ("TT-110",)}, "TT-110"),
        ({"readings": ("TT-110",)}, "need a limit"),
        ({"readings": ("TT-110",), "above": 5.0, "below": 6.0}, "must be less than above"),
        ({"contacts": ("PS-102",), "votes": 2}, "only 1 contacts and readings can vote"),
        ({}, "only 0 contacts and readings can vote"),
        ({"contacts": ("PS-102",), "tag": "limiter"}, "is the tag of another row"),
    ],
)
def test_what_does_not_fit_is_refused_by_name(points: tuple[Point, ...], changes: dict[str, Any], says: str) -> None:
    with pytest.raises(ConfigError) as refused:
        made(points, **changes)
    assert says in str(refused.value)


GAS = OwnRow(tag="gas", text="gas detector", contacts=("YS-110",), delay_s=2.0, at_once=("heat",),
             blocks=("heat", "fog", "vent open"), effect="hold", priority="high", **SAYS)


def test_an_added_row_blocks_at_once_trips_after_its_delay_and_is_an_alarm(
    points: tuple[Point, ...], frame: Frame, opened: Callable[..., Frame], air: Climate, written: Callable[..., Outputs]
) -> None:
    """Goal: an added row does all that a built-in one does. Method: a contact opens under full heat and fog."""
    plan = protection.bind(ProtectionConfig(row=(GAS,)), points)
    state = protection.initial(plan)
    asked = written(**{"YC-101": True, "SC-101": 75.0, "YC-103": True, "TCV-103": 50.0, "XV-102A": True})
    for _scan in range(20):
        state, _outputs, verdict = protection.guard(plan, state, asked, frame, air, "running", (), 1.0)
    assert not verdict.trips
    seen: list[tuple[bool, bool, tuple[str, ...]]] = []
    for _scan in range(3):
        state, _outputs, verdict = protection.guard(plan, state, asked, opened("YS-110"), air, "running", (), 1.0)
        seen.append(("heat" in verdict.blocked, "fog" in verdict.blocked, verdict.trips))
    assert seen == [(True, False, ()), (True, True, ("gas",)), (True, True, ("gas",))]
    assert (verdict.effect, verdict.first_out) == ("hold", ("gas",))
    state, _outputs, verdict = protection.guard(plan, state, asked, frame, air, "running", (("r", "anna"),), 1.0)
    assert not verdict.trips
    names = alarms.bind(AlarmsConfig(), points, plan.rows[len(ROWS):]).numbers
    assert max(names, key=lambda tag: names[tag]) == "gas"


def test_an_added_row_that_is_well_leaves_the_healthy_scan_alone(
    points: tuple[Point, ...], frame: Frame, air: Climate, written: Callable[..., Outputs]
) -> None:
    plan = protection.bind(ProtectionConfig(row=(GAS,)), points)
    state = protection.initial(plan)
    asked = written()
    assert protection.guard(plan, state, asked, frame, air, "running", (), 1.0)[1] is asked
