"""Shelving and taking out of service: who may hide what, for how long, and that a shelf ends by itself."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.alarms.hiding import SHELVED_MAX, Hidden, expire, obey
from controller.core.frames import Command, Event

TAGS = frozenset(("spread-high", "waiting", "probe-bad", "fighting", "in-hand", "mains-bad", "limiter"))
FIXED = frozenset(("limiter",))
DAY_SHELF = {"tag": "spread-high", "hours": 2.0, "reason": "fan belt ordered"}


def order(verb: str, **args: Any) -> Command:
    return Command("id", verb, "anna", tuple(sorted(args.items())))


def test_a_shelf_ends_after_its_hours_and_says_so() -> None:
    hidden, reason = obey((), order("shelve", **DAY_SHELF), TAGS, FIXED, 100.0)
    assert (hidden, reason) == ((Hidden("spread-high", 7300.0, "anna", "fan belt ordered"),), "")
    assert expire(hidden, 7299.0) == (hidden, ())
    left, events = expire(hidden, 7300.0)
    assert left == ()
    assert events == (
        Event("alarm", "spread-high", "spread-high: back from the shelf, its time is over", (
            ("what", "unshelved"), ("who", "anna"), ("reason", "fan belt ordered"),
        )),
    )


def test_out_of_service_has_no_end_and_comes_back_only_by_hand() -> None:
    hidden, _ = obey((), order("out-of-service", tag="waiting", reason="test"), TAGS, FIXED, 0.0)
    assert hidden == (Hidden("waiting", None, "anna", "test"),)
    assert expire(hidden, 1e9) == (hidden, ())
    same, reason = obey(hidden, order("unshelve", tag="waiting"), TAGS, FIXED, 0.0)
    assert (same, reason) == (hidden, "waiting is not shelved")
    assert obey(hidden, order("in-service", tag="waiting"), TAGS, FIXED, 0.0) == ((), "")


def test_shelving_again_sets_a_new_end() -> None:
    hidden, _ = obey((), order("shelve", **DAY_SHELF), TAGS, FIXED, 0.0)
    hidden, reason = obey(hidden, order("shelve", **{**DAY_SHELF, "hours": 1}), TAGS, FIXED, 0.0)
    assert (len(hidden), hidden[0].until_s, reason) == (1, 3600.0, "")


@pytest.mark.parametrize(
    ("verb", "args", "says"),
    [
        ("shelve", {**DAY_SHELF, "tag": "nothing"},
         "no alarm is called 'nothing': known are fighting, in-hand, limiter, mains-bad, probe-bad, spread-high, "),
        ("shelve", {"hours": 1.0, "reason": "x"}, "no alarm is called ''"),
        ("out-of-service", {"reason": "x"}, "no alarm is called ''"),
        ("shelve", {**DAY_SHELF, "tag": "limiter"}, "raised by protection"),
        ("out-of-service", {"tag": "limiter", "reason": "x"}, "raised by protection"),
        ("shelve", {**DAY_SHELF, "reason": "  "}, "a reason is needed: say why nobody has to see it"),
        ("out-of-service", {"tag": "waiting"}, "a reason is needed"),
        ("shelve", {**DAY_SHELF, "hours": 0}, "above 0 and at most 12"),
        ("shelve", {**DAY_SHELF, "hours": 12.1}, "hours 12.1 must be above 0 and at most 12: a shelf has an end"),
        ("shelve", {**DAY_SHELF, "hours": float("nan")}, "above 0 and at most 12"),
        ("shelve", {**DAY_SHELF, "hours": True}, "above 0 and at most 12"),
        ("shelve", {"tag": "waiting", "reason": "x"}, "hours (not given) must be above 0 and at most 12"),
        ("unshelve", {"tag": "waiting"}, "not shelved"),
        ("in-service", {"tag": "waiting"}, "not out of service"),
    ],
)
def test_what_is_refused_changes_nothing_and_says_why(verb: str, args: dict[str, Any], says: str) -> None:
    hidden, reason = obey((), order(verb, **args), TAGS, FIXED, 0.0)
    assert hidden == ()
    assert says in reason


def test_a_shelf_may_be_as_long_as_a_shift_and_its_hand_over() -> None:
    hidden, reason = obey((), order("shelve", **{**DAY_SHELF, "hours": 12}), TAGS, FIXED, 0.0)
    assert (hidden[0].until_s, reason) == (43_200.0, "")


def test_only_so_many_may_be_shelved_at_once() -> None:
    hidden: tuple[Hidden, ...] = ()
    for tag in sorted(TAGS - FIXED)[:SHELVED_MAX]:
        hidden, reason = obey(hidden, order("shelve", tag=tag, hours=1, reason="x"), TAGS, FIXED, 0.0)
        assert not reason
    last = sorted(TAGS - FIXED)[SHELVED_MAX]
    assert "shelved already" in obey(hidden, order("shelve", tag=last, hours=1, reason="x"), TAGS, FIXED, 0.0)[1]
    assert obey(hidden, order("out-of-service", tag=last, reason="x"), TAGS, FIXED, 0.0)[1] == ""


def test_what_is_out_of_service_cannot_be_shelved() -> None:
    hidden, _ = obey((), order("out-of-service", tag="waiting", reason="test"), TAGS, FIXED, 0.0)
    shelve = order("shelve", **{**DAY_SHELF, "tag": "waiting"})
    assert "return it to service" in obey(hidden, shelve, TAGS, FIXED, 0.0)[1]


def test_who_hides_without_a_reason_is_told_what_is_missing() -> None:
    assert obey((), order("out-of-service", tag="waiting"), TAGS, FIXED, 0.0) == (
        (), "a reason is needed: say why nobody has to see it"
    )
