"""The disk refuses: control goes on, it is said what to do, nothing that was acknowledged is lost."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import pytest

from controller.errors import StoreError
from controller.runtime.session import CODEC
from controller.store.reader import Reader
from controller.store.recorder import Recorder
from controller.store.verify import verify
from controller.store.writer import Writer

FULL = sqlite3.OperationalError("database or disk is full")


@pytest.fixture
def refusing(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Set [0] to True and every write of the record fails as it does on a full disk."""
    refuse = [False]
    write = Writer.write

    def maybe(self: Writer, batch: Any) -> None:
        if refuse[0]:
            raise FULL
        write(self, batch)

    monkeypatch.setattr(Writer, "write", maybe)
    return refuse


def recorder_of(rig: Any, path: Path) -> Recorder[Any]:
    header = rig.session.header("direct", simulated=True)
    return Recorder(path, header, CODEC, began_ms=0, group_minutes=1)


def test_a_full_disk_lights_the_beacon_and_drops_the_healthy_relay(
    rig: Any, tmp_path: Path, refusing: list[bool]
) -> None:
    """Goal: somebody is told while the journal cannot tell. Method: refused for five minutes; outputs before, within
    and after."""
    recorder = recorder_of(rig, tmp_path / "record.sqlite")
    rig.run(
        900,
        recorder=recorder,
        acts={150: lambda: refusing.__setitem__(0, True), 450: lambda: refusing.__setitem__(0, False)},
    )
    recorder.close()
    seen = [[rig.out(scan, tag) for tag in ("YL-190", "YL-190M", "YC-192")] for scan in (150, 300, 899)]
    assert seen == [[0.0, 0.0, 1.0], [1.0, 1.0, 0.0], [1.0, 1.0, 1.0]]


def test_control_does_not_notice_a_full_disk(rig: Any, tmp_path: Path, refusing: list[bool]) -> None:
    """Refused from scan 150 to 450: outputs are the same as with a good disk, and afterwards nothing is missing."""
    path = tmp_path / "record.sqlite"
    recorder = recorder_of(rig, path)
    rig.run(
        900,
        recorder=recorder,
        acts={150: lambda: refusing.__setitem__(0, True), 450: lambda: refusing.__setitem__(0, False)},
    )
    recorder.close()
    assert rig.state(899) == "running"
    assert len(rig.driven) == 901
    with Reader(path) as reader:
        told = [row for row in reader.journal(kind="note") if row.tag == "RECORD"]
        alarms = [row.data["what"] for row in reader.journal(kind="alarm") if row.tag == "record-failing"]
        scans = [frame.scan for frame in reader.frames()]
    assert scans == list(range(900))
    assert [row.data["active"] for row in told] == [True, False]
    assert alarms == ["comes", "goes"]
    assert "control goes on" in told[0].text
    assert f"free space on the disk of {tmp_path}" in told[0].text
    assert "0 scans and 0 journal lines were lost" in told[1].text
    assert verify(path) == []


def test_outputs_do_not_depend_on_the_disk(
    rig: Any, tmp_path: Path, refusing: list[bool], request: pytest.FixtureRequest
) -> None:
    """With a disk that never takes anything all that drives the chamber is as without one; only lamps, horn and the
    healthy relay tell."""
    recorder = recorder_of(rig, tmp_path / "record.sqlite")
    refusing[0] = True
    rig.run(300, recorder=recorder)
    with pytest.raises(StoreError, match="could not be written; free space on the disk of"):
        recorder.close()
    assert driving(rig.results) == driving(quiet_run(rig))


def driving(results: list[Any]) -> list[Any]:
    """Outputs that act on the chamber: all but the six at the end of the contacts."""
    return [(result.outputs.analog, result.outputs.discrete[:-6]) for result in results]


def quiet_run(rig: Any) -> list[Any]:
    """Results of the same 300 scans with the journal in memory only."""
    from controller.link.direct import DirectLink
    from controller.rig.plant import build, scene

    plant = build(scene(), rig.session.bundle.points, rig.session.device, lockstep=True)
    again = type(rig)(rig.session, plant, DirectLink(plant.device))
    again.run(300)
    return list(again.results)
