"""What people drive by hand and a hard-wired circuit has taken: its reset starts nothing of it again."""

from __future__ import annotations

from typing import Any

import pytest

WHY = {"hours": 2.0, "reason": "trial"}
FAN: dict[str, Any] = {"tag": "YC-101", "value": 1, **WHY}


def trip(chamber: Any, contact: str = "HS-103") -> None:
    """The circuit opens, closes, and its trip is reset."""
    chamber.open.add(contact)
    chamber.scan(5)
    chamber.open.discard(contact)
    chamber.scan(5)
    assert chamber.order("reset-trips") == "done"
    chamber.scan(5)


def ends(chamber: Any) -> list[str]:
    return [event.text for event in chamber.events if event.kind == "by-hand" and "; ends" in event.text]


@pytest.mark.parametrize("contact", ["HS-101", "HS-103"])
def test_at_rest_a_forced_fan_does_not_start_again_with_the_reset(chamber: Any, contact: str) -> None:
    assert chamber.order("force", **FAN) == "done"
    chamber.scan(20)
    assert chamber.out("YC-101")
    trip(chamber, contact)
    assert not chamber.out("YC-101")
    assert ends(chamber) == ["YC-101 forced at 1, by ana: trial; ends, a hard-wired circuit has taken it"]
    assert chamber.order("force", **FAN) == "done"
    chamber.scan(2)
    assert chamber.out("YC-101")
    assert chamber.broken == set()


def test_a_loop_in_manual_does_not_come_back_to_where_it_stood_either(chamber: Any) -> None:
    assert chamber.order("manual", tag="fan", value=60.0, **WHY) == "done"
    chamber.scan(60)
    assert chamber.out("SC-101") > 0.0
    assert chamber.order("automatic", tag="fan") == "done"
    chamber.scan(5)
    assert chamber.out("SC-101") > 0.0, "it comes back gradually"
    assert chamber.order("manual", tag="vent", value=0.2, **WHY) == "done"
    trip(chamber)
    assert (chamber.out("SC-101"), chamber.out("YC-101")) == (0.0, False)
    assert [entry.tag for entry in chamber.state.by_hand.entries] == ["vent"]
    assert chamber.broken == set()


def test_the_limiter_ends_what_heats_and_lets_the_fan_go_on(chamber: Any) -> None:
    chamber.order("force", **FAN)
    chamber.order("force", tag="TCV-103", value=10.0, **WHY)
    chamber.order("force", tag="YA-191", value=True, **WHY)
    chamber.scan(20)
    trip(chamber, "TZS-103")
    assert chamber.out("YC-101")
    assert chamber.out("TCV-103") == 0.0
    assert [entry.tag for entry in chamber.state.by_hand.entries] == ["YC-101", "YA-191"]


def test_what_is_forced_while_it_stays_off_in_a_stopped_clock_is_given_by_the_restart_only_when_forced_again(
    chamber: Any,
) -> None:
    assert chamber.order("start") == "done"
    chamber.scan(60)
    assert chamber.out("YC-101")
    trip(chamber)
    assert chamber.state.sequence.state == "held"
    chamber.order("force", **FAN)
    chamber.scan(60)
    assert not chamber.out("YC-101")
    assert chamber.state.by_hand.entries == ()
    assert chamber.state.memory.taken
    assert chamber.order("restart") == "done"
    chamber.scan(20)
    assert chamber.out("YC-101")
    assert chamber.state.memory.taken == 0
    assert chamber.broken == set()


@pytest.mark.parametrize("verb", ["stop", "abort"])
def test_the_end_of_the_cycle_gives_nothing_back_before_it_is_reset(chamber: Any, verb: str) -> None:
    chamber.order("start")
    chamber.scan(60)
    trip(chamber)
    assert chamber.order(verb) == "done"
    for _ in range(400):
        chamber.scan()
        assert not chamber.out("YC-101")
    assert chamber.state.protection.kept
    assert chamber.order("reset") == "done"
    assert not chamber.state.protection.kept
    assert chamber.order("start") == "done"
    chamber.scan(20)
    assert chamber.out("YC-101")
    assert chamber.broken == set()
