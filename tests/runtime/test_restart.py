"""After an outage: state exactly as it was, time goes on, the clock of the cycle stands still until a person acts."""

from __future__ import annotations

import errno
import math
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from controller.core.sequence.phase_kinds import KINDS, OUTAGES
from controller.core.sequence.recipe import Phase
from controller.errors import UnavailableError
from controller.runtime.restart import InstanceLock, commands_after, restore
from controller.store.checkpoint import StateCodec
from controller.store.header import Header
from controller.store.recorder import Recorder, Scan

HEADER = Header(tags=("T",), computed=(), input_words=1, output_words=1, scan_s=1.0)


@dataclass(frozen=True, slots=True)
class State:
    scans: int
    last_degC: float
    since_s: float | None


CODEC = StateCodec(State)
HOLD = Phase(kind="hold")
Write = Callable[[Path, int], None]


@pytest.fixture
def write_record() -> Iterator[Callable[[Path, int], None]]:
    with ExitStack() as stack:
        yield lambda path, scans: _write(path, scans, stack)


def _write(path: Path, scans: int, stack: ExitStack) -> None:
    """A record of `scans` scans, committed one by one, left as a killed process leaves it."""
    recorder = Recorder(path, HEADER, CODEC, began_ms=0, every_scan=True)
    stack.callback(recorder.close)
    for scan in range(scans):
        state = State(scan, math.nan, None)
        recorder.add(Scan(scan, 1000 * scan, float(scan), b"\0" * 6, (20.0,), (0,), (), state))
        recorder.commit()


def test_nothing_to_restore_without_a_record(tmp_path: Path) -> None:
    assert restore(tmp_path / "record.sqlite", CODEC, 0) is None


def test_state_comes_back_and_now_goes_on_over_the_outage(tmp_path: Path, write_record: Write) -> None:
    """14 scans, checkpoint at scan 10 (one each 10 s), 120 s away: next is scan 14 at 13 + 120 s."""
    write_record(tmp_path / "record.sqlite", 14)
    resumed = restore(tmp_path / "record.sqlite", CODEC, 133_000)
    assert resumed is not None
    assert (resumed.scan, resumed.now_s, resumed.outage_s, resumed.kind) == (14, 133.0, 120.0, "short")
    assert resumed.state.scans == 10
    assert math.isnan(resumed.state.last_degC)
    assert resumed.state.since_s is None
    assert "1970-01-01 00:00:13 UTC to 1970-01-01 00:02:13 UTC" in resumed.event.text


@pytest.mark.parametrize(
    ("away_s", "kind", "counted_s"),
    [(0, "short", 0), (599, "short", 599), (600, "middle", 600), (3600, "long", 3600), (-60, "clock", 0),
     (40 * 86400, "long", 30 * 86400)],
)
def test_outages_are_classed_and_clamped(
    tmp_path: Path, write_record: Write, away_s: int, kind: str, counted_s: int
) -> None:
    write_record(tmp_path / "record.sqlite", 1)
    resumed = restore(tmp_path / "record.sqlite", CODEC, 1000 * away_s)
    assert resumed is not None
    assert (resumed.kind, resumed.outage_s) == (kind, counted_s)


def ordered(outage: Any, procedure: str, phase: Phase = HOLD) -> list[str]:
    return [command.verb for command in commands_after(outage, procedure, 9, phase)]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("procedure", ["running", "pausing", "paused", "restarting"])
def test_an_active_cycle_is_held_in_every_phase_and_after_a_long_outage_aborted_unless_the_chamber_is_empty(
    procedure: str, kind: Any
) -> None:
    phase = Phase(kind=kind)
    long = ["hold"] if kind in ("dry-out", "standby") else ["abort"]
    assert [ordered(outage, procedure, phase) for outage in OUTAGES] == [["hold"], ["hold"], long, long]


@pytest.mark.parametrize("kind", KINDS)
def test_what_resumes_by_itself_does_so_after_a_short_outage_in_every_phase(kind: Any) -> None:
    phase = Phase(kind=kind, on_outage="resume")
    long = ["hold", "restart"] if kind in ("dry-out", "standby") else ["abort"]
    resumes = ["hold", "restart"]
    assert [ordered(outage, "running", phase) for outage in OUTAGES] == [resumes, resumes, long, long]
    assert len({command.id for command in commands_after("short", "running", 9, phase)}) == 2
    assert ordered("short", "held", phase) == [], "a person or a protection had stopped the clock"


def test_a_cycle_at_rest_is_left_alone_and_a_held_one_only_ended() -> None:
    assert ordered("long", "idle") == ordered("long", "complete") == []
    assert ordered("short", "held") == []
    assert ordered("long", "held") == ["abort"]


def test_second_controller_is_refused_with_the_process_to_stop(tmp_path: Path) -> None:
    with InstanceLock(tmp_path), pytest.raises(UnavailableError, match=f"process {os.getpid()} on .* since 20.* UTC"):
        InstanceLock(tmp_path).__enter__()
    with InstanceLock(tmp_path):
        pass


def test_lock_of_a_killed_controller_is_free(tmp_path: Path) -> None:
    code = (
        "import os, sys, pathlib; from controller.runtime.restart import InstanceLock;"
        "InstanceLock(pathlib.Path(sys.argv[1])).__enter__(); os.kill(os.getpid(), 9)"
    )
    environment = {"PYTHONPATH": ":".join(sys.path)}
    killed = subprocess.run([sys.executable, "-c", code, str(tmp_path)], env=environment, check=False)
    assert killed.returncode == -9
    with InstanceLock(tmp_path):
        pass


def test_a_full_disk_does_not_keep_a_controller_from_its_lock(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is written into the file is for people only; the lock holds without it."""

    def full(_file: int, _what: object) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "write", full)
    with InstanceLock(tmp_path), pytest.raises(UnavailableError, match="process unknown"):
        InstanceLock(tmp_path).__enter__()


def test_a_run_that_did_not_come_about_leaves_no_folder_behind(tmp_path: Path) -> None:
    with pytest.raises(UnavailableError), InstanceLock(tmp_path / "new" / "run"):
        raise UnavailableError("another controller commands the panel")
    assert list(tmp_path.iterdir()) == []


def test_what_was_there_before_or_has_something_in_it_stays(tmp_path: Path) -> None:
    (tmp_path / "old").mkdir()
    for name in ("old", "new"):
        with pytest.raises(UnavailableError), InstanceLock(tmp_path / name):
            if name == "new":
                (tmp_path / name / "record.sqlite").touch()
            raise UnavailableError("the panel went away")
    assert sorted(str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*")) == [
        "new", "new/dewhold.lock", "new/record.sqlite", "old", "old/dewhold.lock",
    ]  # fmt: skip
