"""Records to report: a simulated day, the same left open, and one with everything that can go wrong in it."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from struct import Struct
from typing import Any

import pytest

from controller.cli.main import main
from controller.core.frames import Command, Event
from controller.report.html import facts, page
from controller.report.recorded import opened
from controller.store.reader import FrameRow, Reader
from controller.store.recorder import Recorder, Scan


@dataclass(frozen=True)
class Reported:
    """A record, its facts and its page."""

    record: Path
    facts: dict[str, Any]
    page: str


def report_of(record: Path) -> Reported:
    with opened(record) as recorded:
        found = facts(recorded)
    return Reported(record, found, page(found))


@pytest.fixture(scope="session")
def day(tmp_path_factory: pytest.TempPathFactory) -> Reported:
    """A day of the demo chamber at 8 degC and 80 % outdoors, a scan every 2 s."""
    out = tmp_path_factory.mktemp("day")
    asked = ["--link", "direct", "--scan", "2", "--outdoor", "8/80", "--out", str(out), "--no-report", "--json"]
    assert main(["cycle", *asked]) == 0
    return report_of(out / "record.sqlite")


def copy_of(record: Path, folder: Path) -> Path:
    return Path(shutil.copy(record, folder / "record.sqlite"))


@pytest.fixture
def left_open(day: Reported, tmp_path: Path) -> Path:
    """The day's record as a controller leaves it whose cycle is not over: nothing sealed."""
    record = copy_of(day.record, tmp_path)
    with closing(sqlite3.connect(record)) as db, db:
        db.execute("UPDATE cycles SET ended_ms = NULL, last_scan = NULL, summary = NULL, seal = NULL")
    return record


@pytest.fixture(scope="session")
def troubled(day: Reported, tmp_path_factory: pytest.TempPathFactory) -> Reported:
    """A second cycle in the day's record, 20 min long: door of bay 2 open in minutes 5 to 8, a trip, an outage."""
    record = copy_of(day.record, tmp_path_factory.mktemp("troubled"))
    with closing(Reader(record)) as reader:
        header = reader.header()
        last = reader.last_scan()
        assert last is not None
        frame = next(reader.frames(last[0], last[0]))
    began_ms = last[1] + 60_000
    recorder: Recorder[Any] = Recorder(record, header, began_ms=began_ms)
    pack = Struct(f">{header.row_words}H").pack
    for number in range(600):
        inputs = _with_open_door(frame) if 150 <= number < 240 else frame.inputs
        recorder.add(
            Scan(
                last[0] + 1 + number,
                began_ms + 2000 * number,
                2.0 * number,
                pack(0, *inputs, *frame.outputs),
                (20.0,) * len(header.tags),
                (2 if 300 <= number < 330 else 0, *(0,) * (len(header.tags) - 1)),
                tuple(20.0 + 0.004 * number + 0.1 * column for column in range(len(header.computed))),
                None,
                (Command("one", "start", "anna"),) if number == 0 else (),
                EVENTS.get(number, ()),
            )
        )
    recorder.close()
    return report_of(record)


EVENTS: dict[int, tuple[Event, ...]] = {
    0: (
        Event("command", "", "start by anna: done", (("verb", "start"), ("who", "anna"), ("outcome", "done"),
                                                      ("reason", ""))),
        Event("state", "", "idle -> running: start by anna", (("from", "idle"), ("to", "running"))),
        Event("phase", "", "phase 1 of 3", (("phase", 0), ("kind", "rest"), ("what", "begin"), ("floor_degC", 20.0),
                                            ("ceiling_degC", 30.0), ("cycle_s", 0.0))),
    ),
    180: (
        Event("alarm", "door-open", "door <open>", (("what", "comes"), ("priority", "high"), ("action", "close it"))),
    ),
    250: (Event("alarm", "door-open", "door open: over", (("what", "goes"), ("priority", "high"))),),
    270: (Event("trip", "limiter", "high limiter: tripped", (("effect", "abort"), ("first_out", True))),),
    280: (
        Event("by-hand", "TT-110", "TT-110 forced at 20, by anna: trial", (("what", "begins"), ("kind", "force"),
            ("value", 20.0), ("who", "anna"), ("role", "engineer"), ("reason", "trial"))),
        Event("duty", "probes", "done: calibration, by anna: all well", (("what", "done"), ("who", "anna"))),
    ),
    300: (Event("link", "LINK", "no answer from the panel", (("kind", "timeout"),)),),
    330: (Event("note", "OUTAGE", "no controller for 0 s", (("from_ms", 0), ("to_ms", 0), ("kind", "short"))),),
}


def _with_open_door(frame: FrameRow) -> tuple[int, ...]:
    words = list(frame.inputs)
    words[46] &= ~(1 << 4)  # ZS-101B of the demo panel: door of bay 2 closed
    return tuple(words)
