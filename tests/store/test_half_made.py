"""A controller that was ended while it made its record, and a disk that refuses between two scans of a minute."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from controller.errors import StoreError
from controller.runtime.restart import restore
from controller.runtime.session import CODEC
from controller.runtime.sole import own_heartbeat
from controller.store.reader import Reader
from controller.store.schema import is_begun, open_for_writing
from controller.store.verify import verify
from controller.store.writer import Writer

Make = Callable[..., Any]


def nothing(path: Path) -> None:
    path.touch()


def a_page(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA journal_mode = WAL").fetchall()


def tables(path: Path) -> None:
    open_for_writing(path).close()


@pytest.mark.parametrize("made", [nothing, a_page, tables])
def test_a_record_that_was_only_half_made_is_none_and_is_made_by_the_next(
    path: Path, make_recorder: Make, make_scan: Make, made: Callable[[Path], None]
) -> None:
    """Else a controller that was killed within its first second would never start in that folder again."""
    path.parent.mkdir()
    made(path)
    assert not is_begun(path)
    assert restore(path, CODEC, 0) is None
    assert own_heartbeat(path) is None
    recorder = make_recorder()
    recorder.add(make_scan(0))
    recorder.close()
    assert is_begun(path)
    assert verify(path) == []


def test_another_programs_file_counts_as_begun_so_that_it_is_refused(path: Path) -> None:
    path.parent.mkdir()
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE theirs (one)")
    assert is_begun(path)
    with pytest.raises(StoreError, match="is not a record of Dewhold"):
        restore(path, CODEC, 0)
    path.write_bytes(b"not a database, and long enough to be looked at as one" * 20)
    with pytest.raises(StoreError, match="cannot be read: file is not a database"):
        is_begun(path)


def test_a_refusal_within_a_minute_loses_no_scan_of_it(
    path: Path, make_recorder: Make, make_scan: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As in real time: a commit a scan. The record is opened again after the refusal, with the first scans of the
    minute in its tail and the minute itself still in hand."""
    recorder = make_recorder(every_scan=True)
    put, refuse = Writer._put_rest, [False]

    def maybe(self: Writer, db: sqlite3.Connection, batch: Any) -> None:
        if refuse[0]:
            raise sqlite3.OperationalError("database or disk is full")
        put(self, db, batch)

    monkeypatch.setattr(Writer, "_put_rest", maybe)
    for scan in range(150):
        refuse[0] = scan in (20, 21, 80)
        recorder.add(make_scan(scan))
        recorder.commit()
    with Reader(path) as reader:
        assert [row.scan for row in reader.frames()] == list(range(150))
    recorder.close()
    assert recorder.refused == 2
    with Reader(path) as reader:
        assert [row.scan for row in reader.frames()] == list(range(150))
    assert verify(path) == []
