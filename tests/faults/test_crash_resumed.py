"""The judge of what the next controller takes up after a kill sees each thing that may be forgotten or invented."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.core.alarms.life import Life
from controller.core.scan import ScanState
from controller.runtime.session import Asked, prepare
from controller.store.reader import JournalRow
from crashpoints.resumed import Found, saved, settled, taken_up

LIMITER = 1  # its row of the protection
LAST, SAVED = 104, 101  # scan of the last frame, and of the saved state


def line(number: int, scan: int, kind: str, tag: str = "", **data: Any) -> JournalRow:
    return JournalRow(number, scan, 1000 * scan, kind, tag, "", data)


@pytest.fixture(scope="module")
def fresh() -> ScanState:
    return prepare(Asked(chamber="demo-north", recipe="gentle", mix="demo-60", load_t=120.0, mix_degC=20.0)).fresh()


def state_of(
    fresh: ScanState, procedure: str, *, phase_s: float = 50.0, tripped: tuple[int, ...] = (), **lives: Any
) -> ScanState:
    """A state in phase 0 with these rows tripped and these alarms (number -> (active, unacked, latched))."""
    known = {int(name[1:]): Life(True, 0.0, *flags, 0.0) for name, flags in lives.items()}
    return replace(
        fresh,
        sequence=replace(fresh.sequence, state=procedure, phase=0, phase_s=phase_s, cycle_s=phase_s),
        protection=replace(
            fresh.protection, tripped=tuple(n in tripped for n in range(len(fresh.protection.tripped)))
        ),
        alarms=replace(fresh.alarms, lives=tuple(known.items())),
    )


START = line(1, 2, "state", to="running")
TRIP = line(2, 90, "trip", "limiter", latched=True)
OUTAGE = line(3, LAST + 1, "note", "OUTAGE")
HOLDING, HELD = line(4, LAST + 1, "state", to="holding"), line(5, LAST + 2, "state", to="held")


@pytest.fixture
def before(fresh: ScanState) -> Found:
    """A running cycle, its limiter tripped and told, killed three scans after its state was saved."""
    state = state_of(fresh, "running", tripped=(LIMITER,), a3=(True, False, True), a5=(False, True, False))
    return Found(scans=list(range(LAST + 1)), state=state, state_scan=SAVED, journal=[START, TRIP])


def after(fresh: ScanState, *rows: JournalRow, **changes: Any) -> Found:
    """What a good controller makes of it, with these changes of its last state."""
    kept: dict[str, Any] = {"tripped": (LIMITER,), "a3": (True, False, True), "a5": (False, True, False)}
    state = state_of(fresh, changes.pop("procedure", "held"), **(kept | changes))
    return Found(state=state, journal=[START, TRIP, *(rows or (OUTAGE, HOLDING, HELD))])


def test_what_is_taken_up_whole_is_right(fresh: ScanState, before: Found) -> None:
    assert saved(before) == []
    for phase_s in (50.0, 53.0):  # what was saved, what the last scan had
        assert taken_up(before, after(fresh, phase_s=phase_s)) == []


@pytest.mark.parametrize(
    ("changes", "wrong"),
    [
        ({"phase_s": 49.0}, "phase_s was saved as 50 s, 3 s before the last scan, and became 49 s"),
        ({"phase_s": 54.0}, "cycle_s was saved as 50 s, 3 s before the last scan, and became 54 s"),
        ({"tripped": ()}, "latched trips came back reset: ['limiter']"),
        ({"a3": (True, False, False)}, "is no longer latched"),
        ({"a5": (False, False, False)}, "is no longer unacked"),
        ({"procedure": "running"}, "held went on to running"),
    ],
)
def test_each_thing_that_is_forgotten_is_seen(
    fresh: ScanState, before: Found, changes: dict[str, Any], wrong: str
) -> None:
    assert any(wrong in text for text in taken_up(before, after(fresh, **changes)))


@pytest.mark.parametrize(
    ("rows", "wrong"),
    [
        ((OUTAGE, HOLDING), "running became holding in 2 scans and not held"),
        ((OUTAGE, HOLDING, HELD._replace(scan=LAST + 3)), "running became holding in 2 scans and not held"),
        ((HOLDING, HELD), "the outage is told in scans [], the first scan after it is 105"),
        ((OUTAGE._replace(scan=LAST + 2), HOLDING, HELD), "the outage is told in scans [106]"),
        ((OUTAGE, HOLDING, HELD, line(6, LAST + 1, "trip", "limiter", latched=True)), "trip limiter in scan 105"),
    ],
)
def test_each_scan_that_comes_too_late_or_tells_another_story_is_seen(
    fresh: ScanState, before: Found, rows: tuple[JournalRow, ...], wrong: str
) -> None:
    assert any(wrong in text for text in taken_up(before, after(fresh, *rows)))


def test_a_saved_state_that_is_older_than_the_journal_or_than_ten_scans_is_seen(
    fresh: ScanState, before: Found
) -> None:
    late = replace(before, journal=[START, TRIP, line(3, SAVED + 1, "order")])
    assert saved(late) == ["the journal has a line of scan 102, the saved state is of scan 101"]
    assert saved(replace(before, scans=list(range(SAVED + 11)))) == [
        "the saved state is of scan 101, the record goes to 111"
    ]
    forgot = replace(before, state=state_of(fresh, "running"))
    assert saved(forgot) == ["latched by the journal ['limiter'], by the saved state []"]


def test_where_a_cycle_may_stand_after_an_outage_of_seconds() -> None:
    """By hand from the tables: clock stopped, what was ending goes on ending, what was at rest stays at rest."""
    assert {state: settled(state, "none") for state in ("running", "paused", "held", "restarting", "idle")} == {
        "running": ("held",), "paused": ("held",), "held": ("held",), "restarting": ("held",), "idle": ("idle",),
    }  # fmt: skip
    assert settled("stopping", "none") == ("stopping", "stopped")
    assert settled("aborting", "hold") == settled("running", "abort") == ("aborted",)
