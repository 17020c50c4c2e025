"""What people have to do: due by calendar, hours, standing still or a reading, until somebody says that it is done."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.binding import Binder
from controller.core.frames import Command, Event
from controller.core.points import Point, index_of
from controller.core.upkeep import duty
from controller.core.upkeep.duty import DutyItem, DutyState
from controller.core.upkeep.wear import Drive
from controller.errors import ConfigError

WORDS: dict[str, Any] = {"text": "trial", "action": "try it", "kind": "test"}
DAY = 86_400.0


class List:
    """One item, its drive and its reading."""

    def __init__(self, points: tuple[Point, ...], **item: Any) -> None:
        binder = Binder("duty", points)
        self.plan = duty.bind((DutyItem(tag="x", **WORDS, **item),), binder, ("XV-102B",))
        binder.done()
        self.state, self.drive, self.values = DutyState(), Drive("XV-102B"), [20.0] * len(index_of(points, "AI"))
        self.events: list[Event] = []
        self.hall = index_of(points, "AI")["TT-110"]

    def at(self, now_s: float) -> bool:
        """Is it due then?"""
        self.state, events = duty.look(self.plan, self.state, self.values, (self.drive,), now_s)
        self.events += events
        return bool(self.state.due)

    def done(self, now_s: float, **args: Any) -> str:
        command = Command("1", "done", "ana", tuple(sorted(({"item": "x", "role": "operator"} | args).items())))
        self.state, reason, events = duty.obey(self.plan, self.state, command, (self.drive,), now_s)
        self.events += events
        return reason


@pytest.fixture
def todo(points: tuple[Point, ...]) -> Any:
    return lambda **item: List(points, **item)


def test_by_the_calendar_from_the_beginning_of_the_record_then_from_the_last_time(todo: Any) -> None:
    item = todo(every_days=7.0)
    assert [item.at(day * DAY) for day in (0, 6.9, 7, 8)] == [False, False, True, True]
    assert item.done(8 * DAY, note="all well") == ""
    assert [item.at(day * DAY) for day in (8, 14.9, 15)] == [False, False, True]
    assert [(event.kind, event.tag, dict(event.data)["what"]) for event in item.events] == [
        ("duty", "x", "due"), ("duty", "x", "done"), ("duty", "x", "due"),
    ]  # fmt: skip
    assert item.events[0].text == "due: trial; try it"
    assert item.events[1].text == "done: trial, by ana: all well"
    (done,) = item.state.done
    assert (done.who, done.role, done.note, done.at_s) == ("ana", "operator", "all well", 8 * DAY)


def test_from_the_date_it_was_done_last_where_there_is_a_calendar(todo: Any) -> None:
    item = todo(every_days=365.0, last="2025-06-01")
    assert not item.at(100.0)  # nobody has told what day it is
    began = datetime(2026, 5, 30, tzinfo=UTC).timestamp()
    item.state = replace(item.state, epoch_s=began)
    assert [item.at(day * DAY) for day in (0, 1, 2)] == [False, False, True]


def test_overdue_after_its_grace(todo: Any) -> None:
    item = todo(every_days=1.0, grace_h=24.0)
    item.at(DAY)
    assert item.state.overdue == ()
    item.at(2 * DAY)
    assert item.state.overdue == ("x",)
    item.done(2 * DAY)
    item.at(2 * DAY)
    assert item.state.overdue == ()


def test_by_the_hours_of_a_drive(todo: Any) -> None:
    item = todo(run_h=100.0, drive="XV-102B")
    item.drive = Drive("XV-102B", on_s=99.9 * 3600.0)
    assert not item.at(0.0)
    item.drive = Drive("XV-102B", on_s=100.0 * 3600.0)
    assert item.at(1.0)
    item.done(2.0)
    assert not item.at(3.0)
    item.drive = Drive("XV-102B", on_s=200.0 * 3600.0)
    assert item.at(4.0)


def test_standing_water_is_flushed_by_people_not_by_the_next_fog(todo: Any) -> None:
    item = todo(idle_h=48.0, drive="XV-102B")
    assert [item.at(hour * 3600.0) for hour in (1, 47, 48)] == [False, False, True]
    item.drive = Drive("XV-102B", on_s=10.0, starts=1, last_s=49 * 3600.0)
    assert item.at(49 * 3600.0)  # it ran, and nobody has flushed it
    item.done(50 * 3600.0)
    assert [item.at(hour * 3600.0) for hour in (50, 97, 98)] == [False, False, True]


def test_by_a_reading_once_for_each_time(todo: Any) -> None:
    item = todo(reading="TT-110", below=3.0, grace_h=2.0)
    assert not item.at(0.0)
    item.values[item.hall] = 2.9
    assert item.at(60.0)
    item.values[item.hall] = 5.0
    assert item.at(120.0)  # the pipe is still full
    item.values[item.hall] = 2.0
    assert item.done(180.0) == ""
    assert not item.at(240.0)  # drained, and still cold
    item.values[item.hall] = float("nan")
    assert not item.at(300.0)
    item.values[item.hall] = 2.0
    assert item.at(360.0)
    item.values[item.hall] = 5.0
    item.done(400.0)
    assert not item.at(420.0)
    item.values[item.hall] = 2.0
    assert item.at(480.0)


def test_above_a_limit(todo: Any) -> None:
    item = todo(reading="TT-110", above=20.0)
    assert not item.at(0.0)
    item.values[item.hall] = 20.1
    assert item.at(60.0)


def test_what_is_not_known_or_too_long_is_refused(todo: Any) -> None:
    item = todo(every_days=1.0)
    assert item.done(0.0, item="y") == "no item is called 'y': known are x"
    assert "at most 500" in item.done(0.0, note="x" * 501)
    assert item.state == DutyState()


@pytest.mark.parametrize(
    ("item", "said"),
    [
        ({}, r"duty\[0\] = nothing: exactly one of"),
        ({"every_days": 1.0, "run_h": 1.0, "drive": "XV-102B"}, "every_days and run_h: exactly one of"),
        ({"run_h": 1.0}, r"duty\[0\].drive = : must be one of \[wear\] drives: XV-102B"),
        ({"idle_h": 1.0, "drive": "YC-101"}, "YC-101: must be one of"),
        ({"reading": "TT-110"}, "needs either above or below"),
        ({"reading": "TT-110", "above": 1.0, "below": 0.0}, "needs either above or below"),
        ({"reading": "XX-1", "above": 1.0}, "not an AI point"),
        ({"every_days": 1.0, "last": "2026-02-29"}, "must be a date like 2026-03-01"),
        ({"every_days": 1.0, "last": "yesterday"}, "must be a date like"),
    ],
)
def test_an_item_that_cannot_be_meant_is_refused(todo: Any, item: dict[str, Any], said: str) -> None:
    with pytest.raises(ConfigError, match=said):
        todo(**item)


def test_two_items_with_one_tag_are_refused(points: tuple[Point, ...]) -> None:
    binder = Binder("duty", points)
    item = DutyItem(tag="x", **WORDS, every_days=1.0)
    duty.bind((item, item), binder, ())
    with pytest.raises(ConfigError, match="is the tag of another item"):
        binder.done()


@given(st.dates(min_value=date(1970, 1, 1)))
def test_days_are_those_of_the_calendar(day: date) -> None:
    at = datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp()
    assert duty._date_s(day.isoformat()) == at


@given(st.text(max_size=12))
def test_any_other_text_is_no_date(text: str) -> None:
    try:
        known = text.isascii() and len(text) == 10 and date.fromisoformat(text).year >= 1970
    except ValueError:
        known = False
    assert (duty._date_s(text) is not None) is known


@pytest.mark.parametrize("way", [{"idle_h": 72.0, "drive": "XV-102B"}, {"reading": "TT-110", "above": 25.0}])
def test_what_blocks_fog_does_so_from_when_it_is_due_until_it_is_done(todo: Any, way: dict[str, Any]) -> None:
    item, plain = todo(blocks=("fog",), **way), todo(**way)
    item.at(0.0)
    assert not item.state.stale
    for one in (item, plain):
        one.values[one.hall] = 26.0
        assert one.at(73.0 * 3600.0)
    assert (item.state.stale, plain.state.stale) == (True, False)
    assert item.done(73.5 * 3600.0, note="flushed to the drain") == ""
    item.at(73.5 * 3600.0)
    assert not item.state.stale
    assert item.events[-1].text == "done: trial, by ana: flushed to the drain"
