"""Hours and due items can be read from the record, with days of the calendar."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from controller.config.find import SHIPPED
from controller.core.upkeep.duty import Done, DutyState
from controller.core.upkeep.upkeep import UpkeepState
from controller.core.upkeep.wear import Drive, WearState
from controller.store.checkpoint import StateCodec
from controller.store.header import Header
from controller.store.reader import Reader
from controller.store.recorder import Recorder, Scan
from controller.store.upkeep import drive_hours, due_list

CHAMBER = (SHIPPED / "chambers" / "demo-north.toml").read_text(encoding="utf-8")
DAY_MS = 86_400_000


@dataclass(frozen=True, slots=True)
class State:
    upkeep: UpkeepState


def test_hours_and_what_is_due(tmp_path: Path) -> None:
    path = tmp_path / "record.sqlite"
    header = Header(tags=(), computed=(), input_words=1, output_words=1, scan_s=1.0, texts={"chamber": CHAMBER})
    recorder = Recorder(path, header, StateCodec(State), began_ms=0, every_scan=True)
    state = State(
        UpkeepState(
            WearState((True,), (False,), 5400.0, (Drive("YS-101", 3600.0, 2), Drive("YC-103", 60.0, 1, 100.0))),
            DutyState(
                done=(Done("probes", 3600.0, "ana", "maintenance", "offsets entered", 0.0),),
                due=(("frost-drain", 7200.0 - 600.0), ("beacon-test", 7200.0 - 300.0)), overdue=("beacon-test",),
                epoch_s=1000.0,
            ),
        )
    )  # fmt: skip
    with Reader(path) as reader:
        assert drive_hours(reader) == ()
        recorder.add(Scan(10, 10_000_000, 7200.0, b"\0" * 6, (), (), (), state))
        recorder.commit()
        recorder.close()
        fan, heat = drive_hours(reader)
        found = {one.item.tag: one for one in due_list(reader)}
    assert (fan.tag, fan.on, fan.hours, fan.starts) == ("YS-101", True, 1.5, 2)
    assert (heat.on, heat.hours) == (False, pytest.approx(60.0 / 3600.0))
    assert list(found)[:2] == ["beacon-test", "frost-drain"]
    assert (found["beacon-test"].overdue, found["frost-drain"].overdue) == (True, False)
    assert found["frost-drain"].due_ms == 10_000_000 - 600_000
    probes = found["probes"]
    assert (probes.is_due, probes.who, probes.role, probes.note) == (False, "ana", "maintenance", "offsets entered")
    assert probes.done_ms == 10_000_000 - 3_600_000
    assert probes.due_ms == probes.done_ms + 365 * DAY_MS
    assert found["vent-stroke"].due_ms == 10_000_000 - 7_200_000 + 7 * DAY_MS
    assert found["fog-flush"].due_ms is None
