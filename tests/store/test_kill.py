"""kill -9 in the middle of writing loses nothing that was acknowledged, and leaves a record that goes on."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from controller.store.reader import Reader
from controller.store.verify import verify

# Writes scans for ever, an event in each; prints the last acknowledged journal id whenever it moved.
CHILD = """
import sys
from pathlib import Path
from controller.core.frames import Event
from controller.store.header import Header
from controller.store.recorder import Recorder, Scan
path, every_scan = Path(sys.argv[1]), sys.argv[2] == "every_scan"
header = Header(tags=("T",), computed=(), input_words=1, output_words=1, scan_s=1.0)
recorder = Recorder(path, header, began_ms=0, group_minutes=1, every_scan=every_scan)
scan = recorder.last_scan + 1
while True:
    recorder.add(Scan(scan, 0, 0.0, b"\\0" * 6, (1.0,), (0,), (), None, (), (Event("note", "", str(scan)),)))
    if every_scan:
        recorder.commit()
    if every_scan or scan % 60 == 59:
        print(recorder.last_id, flush=True)
    scan += 1
"""


@pytest.mark.parametrize("mode", ["every_scan", "groups"])
def test_killed_again_and_again(tmp_path: Path, mode: str) -> None:
    """The same record is written by six processes one after the other, each killed after another number of commits."""
    path = tmp_path / "record.sqlite"
    for commits in (1, 2, 3, 17, 60, 131):
        acknowledged = _write_and_kill(path, mode, commits)
        with Reader(path) as reader:
            lines = reader.journal()
        assert lines[-1].id >= acknowledged
        assert [line.id for line in lines] == list(range(1, len(lines) + 1))
    assert verify(path) == []


def test_frames_of_a_killed_process_are_there_scan_by_scan(
    tmp_path: Path,
) -> None:
    """75 commits and more: one folded minute and a tail; every scan whose event is in the journal has its frame."""
    path = tmp_path / "record.sqlite"
    _write_and_kill(path, "every_scan", 75)
    with Reader(path) as reader:
        scans = [row.scan for row in reader.frames()]
        assert scans == list(range(len(scans)))
        assert [line.scan for line in reader.journal()] == scans


def _write_and_kill(path: Path, mode: str, commits: int) -> int:
    """Last id that the child said was safe before it was killed."""
    environment = {"PYTHONPATH": ":".join(sys.path)}
    command = [sys.executable, "-c", CHILD, str(path), mode]
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        said = [int(child.stdout.readline()) for _commit in range(commits)]
        child.kill()
        said += [int(line) for line in child.stdout.read().split("\n")[:-1]]  # only whole lines were said
    return said[-1]
