"""What must be true of the journal of a run."""

from __future__ import annotations

from dataclasses import replace

from controller.core.frames import Event
from controller.core.rows.alarms import OWN
from controller.rig.judging.journal import judged

ROW = replace(OWN[0], tag="probe-bad", on_s=5.0, off_s=10.0)
LATE = Event("alarm", "SCAN", "late")


def comes(tag: str = "probe-bad") -> Event:
    return Event("alarm", tag, "", (("what", "comes"),))


def rule(*events: tuple[int, Event], gaps: tuple[int, ...] = (), overruns: int = 0, dt_s: float = 1.0) -> str:
    found = judged(events, gaps, overruns, (ROW,), dt_s)
    return "" if found is None else found.rule


def test_a_quiet_journal_is_good() -> None:
    assert rule() == rule((3, comes())) == ""


def test_a_gap_is_found() -> None:
    assert rule(gaps=(7,)) == "journal"


def test_late_scans_must_have_been_told() -> None:
    assert rule(overruns=1) == rule((3, comes()), overruns=1) == "overrun"
    assert rule((3, LATE), overruns=1) == ""


def test_an_alarm_cannot_come_again_within_its_delays() -> None:
    assert rule((0, comes()), (12, comes())) == "alarm-chatters"
    assert rule((0, comes()), (13, comes())) == ""
    assert rule((0, comes()), (6, comes()), dt_s=2.0) == ""
    assert rule((0, comes()), (1, comes("another"))) == ""
    assert rule((0, comes()), (1, Event("alarm", "probe-bad", "", (("what", "goes"),))), (2, LATE)) == ""
