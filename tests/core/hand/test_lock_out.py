"""Locks with names: all that moves stays off until each is lifted, by who hung it or by somebody of at least that role.
"""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.hand.lock_out import LOCKS_MAX
from controller.core.hand.register import only_locks
from controller.core.hand.roles import ROLES, rank
from controller.core.orders.verbs import NOT_WHILE_LOCKED


def off(chamber: Any) -> bool:
    moving = ("YC-101", "YC-103", "XV-102A", "XV-102B", "YC-106", "TCV-103", "SC-101")
    return not any(chamber.out(tag) for tag in moving)


def test_a_lock_takes_everything_and_stops_the_clock(running: Any) -> None:
    assert running.out("YC-101") is True
    assert running.order("lock-out", reason="belt of the fan") == "done"
    running.scan(3)
    assert off(running)
    assert running.state.sequence.state == "held"
    assert "locked-out" in running.alarms()
    assert set(running.result.verdict.blocked) >= {"heat", "fog", "fan"}
    running.scan(100)
    assert off(running)
    assert running.order("lift-lock") == "done"
    running.scan(10)
    assert running.out("YC-101") is True  # held keeps the climate; the clock waits for a person
    assert running.state.sequence.state == "held"
    assert running.broken == set()


@pytest.mark.parametrize("verb", sorted(NOT_WHILE_LOCKED))
def test_nothing_that_could_start_is_taken_while_a_lock_hangs(chamber: Any, verb: str) -> None:
    assert chamber.order("lock-out", reason="belt") == "done"
    assert chamber.order(verb) == "locked out by ana (operator): belt; the lock must be lifted first"
    assert chamber.order("lift-lock") == "done"
    assert "locked out" not in chamber.order(verb)


def test_a_lock_has_no_end_of_its_own_and_forces_do_not_pass_it(chamber: Any) -> None:
    assert chamber.order("force", tag="SC-101", value=80.0, hours=1.0, reason="trial") == "done"
    assert chamber.order("force", tag="YC-101", value=1, hours=1.0, reason="trial") == "done"
    chamber.scan(2)
    assert not off(chamber)
    assert chamber.order("lock-out", reason="belt") == "done"
    chamber.scan(1)
    assert off(chamber)
    chamber.scan(4000)
    assert off(chamber)
    assert [lock.who for lock in chamber.state.by_hand.locks] == ["ana"]
    assert chamber.broken == set()


def test_several_hang_their_own_and_each_must_be_lifted(chamber: Any) -> None:
    assert chamber.order("lock-out", reason="belt") == "done"
    assert chamber.order("lock-out", "ben", reason="nozzles") == "done"
    assert chamber.order("lock-out", "ben", reason="nozzles of bank B") == "done"  # again: his one lock
    assert [(lock.who, lock.reason) for lock in chamber.state.by_hand.locks] == [
        ("ana", "belt"), ("ben", "nozzles of bank B"),
    ]
    assert chamber.order("lift-lock") == "done"
    assert "locked out by ben" in chamber.order("start")
    assert chamber.order("lift-lock") == "no lock of ana hangs"
    assert chamber.order("lift-lock", "ben") == "done"
    chamber.scan(2)
    assert chamber.order("start") == "done"


@pytest.mark.parametrize("hung", ROLES)
@pytest.mark.parametrize("lifts", [*ROLES, "admin", ""])
def test_another_may_lift_it_only_in_the_same_or_a_higher_role_and_says_why(
    chamber: Any, hung: str, lifts: str
) -> None:
    assert chamber.order("lock-out", role=hung, reason="belt") == "done"
    may = rank(lifts) >= rank(hung)
    without = chamber.order("lift-lock", "eve", role=lifts, of="ana")
    assert ("a reason is needed" in without) is may
    assert (chamber.order("lift-lock", "eve", role=lifts, of="ana", reason="ana went home") == "done") is may
    assert bool(chamber.state.by_hand.locks) is not may


def test_a_lock_needs_a_reason_and_there_is_room_for_so_many(chamber: Any) -> None:
    assert "a reason is needed" in chamber.order("lock-out")
    for number in range(LOCKS_MAX):
        assert chamber.order("lock-out", f"p{number}", reason="x") == "done"
    assert chamber.order("lock-out", "late", reason="x") == f"{LOCKS_MAX} locks hang already"


def test_locks_are_told(chamber: Any) -> None:
    chamber.order("lock-out", reason="belt")
    chamber.order("lift-lock", "eve", role="engineer", of="ana", reason="ana went home")
    hung, lifted = chamber.told()
    assert hung.text == "locked out by ana: belt"
    assert lifted.text == "lock of ana lifted by eve: ana went home"


def test_other_files_of_the_chamber_leave_locks_and_nothing_else(chamber: Any) -> None:
    """A tag may mean another point then, but whoever hung a lock may still be inside."""
    chamber.order("force", tag="TT-110", value=20.0, hours=1.0, reason="trial")
    assert only_locks(chamber.state.by_hand).idle
    chamber.order("lock-out", reason="belt")
    kept = only_locks(chamber.state.by_hand)
    assert ([lock.who for lock in kept.locks], kept.entries, kept.given, kept.idle) == (["ana"], (), 1, False)
