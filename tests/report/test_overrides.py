"""What was overridden during a cycle, from its journal."""

from __future__ import annotations

from typing import Any

from controller.report.overrides import deviating, overrides_of
from controller.store.reader import JournalRow


def row(at_s: float, what: str, kind: str = "force", tag: str = "TT-110", **more: Any) -> JournalRow:
    data = {"what": what, "kind": kind, "value": 1.0, "who": "ana", "role": "operator", "reason": "trial"} | more
    return JournalRow(1, 1, round(1000 * at_s), "by-hand", tag, f"{tag} {kind}", data)


def test_each_has_its_begin_and_end() -> None:
    found = overrides_of([row(110, "begins"), row(150, "ends"), row(160, "begins", "bypass", "fog")], 100_000, 300_000)
    assert [(one["tag"], one["from_s"], one["to_s"]) for one in found] == [("TT-110", 10.0, 50.0), ("fog", 60.0, 200.0)]
    assert (found[0]["who"], found[0]["role"], found[0]["reason"]) == ("ana", "operator", "trial")


def test_what_had_begun_before_counts_and_what_had_ended_does_not() -> None:
    before = [row(10, "begins"), row(20, "begins", "bypass", "fog"), row(90, "ends")]
    (found,) = overrides_of(before, 100_000, 300_000)
    assert (found["tag"], found["from_s"], found["to_s"]) == ("fog", 0.0, 200.0)
    assert overrides_of([row(310, "begins")], 100_000, 300_000) == []


def test_the_same_given_again_ends_the_one_before() -> None:
    found = overrides_of([row(110, "begins"), row(120, "begins", value=2.0), row(130, "ends")], 100_000, 300_000)
    assert [(one["value"], one["from_s"], one["to_s"]) for one in found] == [(1.0, 10.0, 20.0), (2.0, 20.0, 30.0)]


def test_locks_of_two_people_are_two() -> None:
    hung = [row(110, "begins", "lock-out", "lock-out", who=who) for who in ("ana", "ben")]
    found = overrides_of([*hung, row(120, "ends", "lock-out", "lock-out", who="ana")], 100_000, 300_000)
    assert [(one["who"], one["to_s"]) for one in found] == [("ana", 20.0), ("ben", 200.0)]


def test_trims_are_listed_but_make_no_deviation() -> None:
    found = overrides_of(
        [row(110, "begins"), row(115, "begins"), row(120, "begins", "trim", "temperature"),
         row(130, "begins", "manual", "heat"), row(140, "begins", "lock-out", "lock-out")],
        100_000, 300_000,
    )  # fmt: skip
    assert len(found) == 5
    assert deviating(found) == ("TT-110 forced", "heat in manual", "lock-out")
