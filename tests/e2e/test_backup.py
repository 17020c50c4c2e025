"""A backup taken while a controller runs, restored elsewhere: the run goes on there, with its clock stopped."""

from __future__ import annotations

import signal
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from controller.store.backup import back_up, restore
from controller.store.reader import Reader
from controller.store.verify import verify

Until = Callable[[Path, Callable[[Reader], bool]], None]


def in_hold(reader: Reader) -> bool:
    return any(row.data.get("kind") == "hold" for row in reader.journal(kind="phase"))


def test_a_run_restored_elsewhere_goes_on_with_a_stopped_clock(
    processes: Any, tmp_path: Path, quick_recipe: str, until: Until
) -> None:
    """Lockstep at 60 x: copied in the hold, the first computer dies, another goes on from the copy."""
    _plant, port = processes.plant("--lockstep")
    same = ("run", "--port", str(port), "--recipe", quick_recipe, "--pace", "60")
    first = processes.start(*same, "--out", "first", "--start-now")
    until(tmp_path / "first" / "record.sqlite", in_hold)
    made = back_up(tmp_path / "first", tmp_path / "safe.zip")
    assert made["cycle_open"] is True
    first.send_signal(signal.SIGKILL)
    first.wait()

    restore(tmp_path / "safe.zip", tmp_path / "second")
    record = tmp_path / "second" / "record.sqlite"
    second = processes.start(*same, "--out", "second", "--hours", "0.02")
    assert second.wait(timeout=180) == 1
    with closing(Reader(record)) as reader:
        rows = [row for row in reader.journal() if row.scan > made["last_scan"]]
        frames = [frame.scan for frame in reader.frames()]
    assert [row.tag for row in rows if row.kind == "note"] == ["OUTAGE"]
    moves = [(row.data["from"], row.data["to"]) for row in rows if row.kind == "state"]
    assert moves == [("running", "holding"), ("holding", "held")]  # and there it stays until a person restarts it
    assert frames == list(range(made["last_scan"] + 1 + 72))
    assert verify(record) == []
