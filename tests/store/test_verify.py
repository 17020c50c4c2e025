"""One byte changed anywhere in a row, a row taken out or put in, is seen."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from controller.core.frames import Event
from controller.store.verify import verify

Make = Callable[..., Any]


@pytest.fixture
def sealed(path: Path, make_recorder: Make, make_scan: Make) -> Path:
    """Four minutes with a journal line each, ended."""
    recorder = make_recorder()
    for scan in range(240):
        recorder.add(make_scan(scan, Event("state", "", "running")) if scan % 60 == 0 else make_scan(scan))
    recorder.end_cycle({"verdict": "pass"}, 240_000)
    recorder.close()
    assert verify(path) == []
    return path


@pytest.mark.parametrize(
    ("change", "seen"),
    [
        ("UPDATE journal SET text = 'stopped' WHERE id = 3", "journal line 3 was changed"),
        ("UPDATE journal SET scan = scan + 1 WHERE id = 3", "journal line 3 was changed"),
        ("UPDATE journal SET utc_ms = utc_ms + 1 WHERE id = 4", "journal line 4 was changed"),
        ("UPDATE journal SET kind = 'stat', tag = 'e' WHERE id = 1", "journal line 1 was changed"),
        ("DELETE FROM journal WHERE id = 2", "journal line 3 was changed"),
        ("DELETE FROM journal WHERE id = 4", "its end or its summary"),
        ("UPDATE frames SET utc_ms = utc_ms + 1 WHERE first_scan = 60", "from scan 60 were changed"),
        ("DELETE FROM frames WHERE first_scan = 60", "from scan 120 were changed"),
        ("DELETE FROM minutes WHERE first_scan = 180", "from scan 180 were changed"),
        ("UPDATE cycles SET header = replace(header, 'gentle', 'steady')", "its header"),
        ("UPDATE cycles SET summary = replace(summary, 'pass', 'fail')", "its summary"),
        ("UPDATE cycles SET last_scan = 100", "its end"),
        ("DELETE FROM cycles", "which is not in the record"),
    ],
)
def test_a_change_is_named(sealed: Path, change: str, seen: str) -> None:
    with closing(sqlite3.connect(sealed)) as db, db:
        assert db.execute(change).rowcount == 1
    assert any(seen in problem for problem in verify(sealed))


@pytest.mark.parametrize(("table", "column"), [("frames", "block"), ("minutes", "columns")])
@pytest.mark.parametrize("place", [0, 17, -1])
def test_one_altered_byte_of_a_blob_is_seen(sealed: Path, table: str, column: str, place: int) -> None:
    with closing(sqlite3.connect(sealed)) as db, db:
        blob = bytearray(db.execute(f"SELECT {column} FROM {table} WHERE first_scan = 120").fetchone()[0])
        blob[place] ^= 1
        db.execute(f"UPDATE {table} SET {column} = ? WHERE first_scan = 120", (bytes(blob),))
    assert verify(sealed) == ["cycle 1: frames or minute from scan 120 were changed"]
