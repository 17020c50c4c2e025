"""Notes on their way into the record: each once, also over a restart, and never in the way of control."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from controller.core.frames import Event
from controller.runtime.desk import DeskOrders
from controller.runtime.desknotes import AT_ONCE
from controller.store.desk import Desk, write_note
from controller.store.header import Header
from controller.store.reader import NOTE_TAG
from controller.store.recorder import Recorder, Scan


def control(folder: Path, told: list[Event]) -> DeskOrders:
    now_ms = time.time_ns() // 1_000_000
    return DeskOrders(folder / "desk.sqlite", folder / "record.sqlite", told.append, lambda: now_ms)


def leave(folder: Path, *texts: str) -> None:
    with Desk(folder / "desk.sqlite") as desk:
        for text in texts:
            write_note(desk, "ana", "operator", text, "door 3")


def keep(folder: Path, *events: Event) -> None:
    """A record in which these were journaled."""
    header = Header(tags=(), computed=(), input_words=1, output_words=1, scan_s=1.0)
    recorder: Recorder[Any] = Recorder(folder / "record.sqlite", header, began_ms=0)
    recorder.add(Scan(0, 0, 0.0, b"\0" * 6, (), (), (), None, (), events))
    recorder.close()


def test_a_note_goes_into_the_record_once_also_over_a_restart(tmp_path: Path) -> None:
    told: list[Event] = []
    leave(tmp_path, "door 3 drips")
    assert control(tmp_path, told).due(0) == ()
    assert [(one.kind, one.tag, one.text) for one in told] == [("note", NOTE_TAG, "note by ana: door 3 drips")]
    assert dict(told[0].data)["about"] == "door 3"
    keep(tmp_path, *told)
    leave(tmp_path, "mended")
    again = control(tmp_path, told)
    again.due(2)
    again.due(3)
    assert [event.text for event in told] == ["note by ana: door 3 drips", "note by ana: mended"]


def test_many_notes_come_in_bites_and_old_ones_of_another_record_stay_away(tmp_path: Path) -> None:
    told: list[Event] = []
    orders = control(tmp_path, told)
    leave(tmp_path, *[f"number {number}" for number in range(AT_ONCE + 5)])
    with Desk(tmp_path / "desk.sqlite") as desk, desk.writing() as db:
        db.execute("UPDATE notes SET utc_ms = utc_ms - 90000000 WHERE id <= 3")
    orders.due(0)
    assert len(told) == AT_ONCE
    orders.due(1)
    assert [event.text.rpartition(" ")[2] for event in told] == [str(number) for number in range(3, AT_ONCE + 5)]
