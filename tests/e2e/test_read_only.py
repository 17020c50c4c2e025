"""The folder of the record may not be written: refused in words at the start, no matter for control afterwards.

Nobody may write into a folder without the right to write, save an all-powerful user: its power over files is given up
first, by the program itself, which needs no leave for that.
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest

from controller.store.reader import Reader
from controller.store.verify import verify

Until = Callable[[Path, Callable[[Reader], bool]], None]
# CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH are bits 1 and 2 of the three sets (capabilities(7)), version 3 of capset(2).
AS_ANYBODY = """
import ctypes, struct, sys
libc = ctypes.CDLL(None)
head, sets = ctypes.create_string_buffer(struct.pack("Ii", 0x20080522, 0), 8), ctypes.create_string_buffer(24)
assert libc.capget(head, sets) == 0
low = [word & ~0b110 if place < 3 else word for place, word in enumerate(struct.unpack("6I", sets.raw))]
assert libc.capset(head, ctypes.create_string_buffer(struct.pack("6I", *low), 24)) == 0
from controller.cli.main import main
sys.exit(main(sys.argv[1:]))
"""


@contextmanager
def read_only(folder: Path) -> Iterator[None]:
    """Nothing may be made, removed or opened for writing in it."""
    kept = {path: path.stat().st_mode for path in (folder, *folder.iterdir())}
    for path in kept:
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        yield
    finally:
        for path in (folder, *folder.iterdir()):
            path.chmod(kept.get(path, 0o644))


def started(processes: Any, *arguments: str) -> subprocess.Popen[str]:
    process: subprocess.Popen[str] = processes.start(
        *arguments, program=("-c", AS_ANYBODY), stderr=subprocess.PIPE
    )
    return process


@pytest.mark.parametrize("there", [(), ("record.sqlite",), ("dewhold.lock",)])
def test_a_folder_that_may_not_be_written_is_refused_before_anything_is_touched(
    processes: Any, tmp_path: Path, there: tuple[str, ...]
) -> None:
    """There is no device either, which would be said next."""
    out = tmp_path / "out"
    out.mkdir()
    for name in there:
        (out / name).touch()
    with read_only(out):
        run = started(processes, "run", "--port", "1", "--out", "out")
        printed, said = run.communicate(timeout=180)
    assert (run.returncode, printed) == (3, "")
    assert said == (
        "dewhold: out/dewhold.lock cannot be written: Permission denied; check that this user may write out and that"
        " the disk is not mounted read-only\n"
    )
    assert sorted(path.name for path in out.iterdir()) == sorted(there)


def test_a_folder_that_becomes_read_only_does_not_stop_control_and_loses_nothing(
    processes: Any, tmp_path: Path, until: Until, quick_recipe: str
) -> None:
    """What is open stays open: scans go on into the record. What is made at the end cannot be, and that is said."""
    _plant, port = processes.plant("--scan", "0.25")
    out, record = tmp_path / "out", tmp_path / "out" / "record.sqlite"
    same = ("run", "--port", str(port), "--out", "out", "--scan", "0.25", "--recipe", quick_recipe)
    run = started(processes, *same, "--order", "start@0.5", "--hours", "0.002")
    until(record, lambda reader: any(row.data.get("to") == "running" for row in reader.journal(kind="state")))
    with read_only(out):
        _printed, said = run.communicate(timeout=180)
    assert run.returncode == 3
    assert "out/summary.json cannot be written: Permission denied; check that this user may write out" in said
    assert "Traceback" not in said
    again = started(processes, *same, "--hours", "0.001")
    assert again.wait(timeout=180) == 1
    with closing(Reader(record)) as reader:
        scans = [frame.scan for frame in reader.frames()]
        states = [row.data["to"] for row in reader.journal(kind="state")]
    assert scans == list(range(29 + 14))
    assert states == ["running", "holding", "held"]
    assert verify(record) == []
