"""What the runtime tells of itself: after enough late scans, not after one; taken back when it has been quiet."""

from __future__ import annotations

from typing import Any

from controller.core.frames import Event
from controller.runtime.own_troubles import FAULT, LATE, LATE_COUNT, QUIET_SCANS, RECORD, OwnTroubles


def told(troubles: OwnTroubles, scan: int) -> list[tuple[Any, Any]]:
    orders = troubles.due(scan)
    assert all((order.verb, order.who) == ("trouble", "runtime") for order in orders)
    return [(dict(order.args)["tag"], dict(order.args)["active"]) for order in orders]


def test_one_late_scan_is_no_alarm_three_within_a_minute_are() -> None:
    troubles = OwnTroubles()
    for scan in (10, 40):
        troubles.late(scan, 1.2)
    assert not troubles.waiting
    troubles.late(10 + QUIET_SCANS - 1, 1.0)
    assert told(troubles, 70) == [(LATE, True)]


def test_late_scans_far_apart_are_none() -> None:
    troubles = OwnTroubles()
    for number in range(20):
        troubles.late(number * QUIET_SCANS // (LATE_COUNT - 1), 1.0)
    assert not troubles.waiting


def test_one_scan_late_by_three_is_told_at_once() -> None:
    troubles = OwnTroubles()
    troubles.late(5, 3.4)
    assert told(troubles, 6) == [(LATE, True)]


def test_it_is_told_once_and_taken_back_a_minute_after_the_last() -> None:
    troubles = OwnTroubles()
    for scan in range(5):
        troubles.late(scan, 1.0)
    assert told(troubles, 5) == [(LATE, True)]
    assert told(troubles, 4 + QUIET_SCANS - 1) == []
    assert told(troubles, 4 + QUIET_SCANS) == [(LATE, False)]
    assert not troubles.waiting


def test_a_broken_invariant_is_told_and_its_end_after_a_quiet_minute() -> None:
    troubles = OwnTroubles()
    troubles.broken(7)
    troubles.broken(8)
    assert told(troubles, 8) == [(FAULT, True)]
    assert told(troubles, 8 + QUIET_SCANS) == [(FAULT, False)]


def test_what_the_recorder_says_of_the_disk_is_passed_on() -> None:
    troubles = OwnTroubles()
    for active in (True, True, False):
        troubles.noticed(3, Event("note", "RECORD", "disk", (("active", active),)))
    troubles.noticed(3, Event("note", "OUTAGE", "away", (("active", True),)))
    assert told(troubles, 4) == [(RECORD, True), (RECORD, False)]


def test_no_two_orders_have_the_same_id() -> None:
    troubles = OwnTroubles()
    troubles.late(5, 3.4)
    troubles.broken(5)
    troubles.noticed(5, Event("note", "RECORD", "disk", (("active", True),)))
    troubles.noticed(5, Event("note", "RECORD", "disk", (("active", False),)))
    orders = troubles.due(6)
    assert len({order.id for order in orders}) == len(orders) == 4
