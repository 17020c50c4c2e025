"""Notes that people leave at the desk, on their way into the record of the cycle: each once, a few at a time.

A note is no order: it is journaled beside the scan, and a restart goes on behind the last one that the record has.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from controller.core.frames import Event
from controller.store.desk import TEXT_MAX
from controller.store.reader import NOTE_TAG, Reader

AT_ONCE = 20  # more wait for the next look
NOTE_MAX = 2000  # characters of a note; the desk keeps the whole of a longer one
_OLD_MS = 86_400_000  # of a desk that the record does not know, what is older than a day is history of another record
_QUERY = f"""
SELECT id, utc_ms, substr(who, 1, {TEXT_MAX}), substr(role, 1, {TEXT_MAX}), substr(about, 1, {TEXT_MAX}),
    substr(text, 1, {NOTE_MAX}) FROM notes WHERE id > ? ORDER BY id LIMIT {AT_ONCE}
"""


class DeskNotes:
    """Passes new notes on to `tell`. record: where those taken so far are journaled; may not exist yet."""

    def __init__(self, record: Path, tell: Callable[[Event], object], now_ms: Callable[[], int]) -> None:
        self._record, self._tell, self._now_ms = record, tell, now_ms
        self._desk, self._mark = "", 0

    def look(self, db: sqlite3.Connection, desk: str) -> bool:
        """Take what is new; True when more waits. db: the desk, open for reading; desk: its name. Raises its errors."""
        if desk != self._desk:
            self._mark, self._desk = self._mark_of(db, desk), desk
        rows = db.execute(_QUERY, (self._mark,)).fetchall()
        for number, utc_ms, who, role, about, text in rows:
            self._mark = number
            data = (
                ("who", who), ("role", role), ("about", about), ("note", text), ("left_ms", utc_ms), ("desk", desk),
                ("number", number),
            )
            self._tell(Event("note", NOTE_TAG, f"note by {who}: {text}", data))
        return len(rows) == AT_ONCE

    def _mark_of(self, db: sqlite3.Connection, desk: str) -> int:
        """The last note of this desk that the record has; of a desk it does not know, the last one of yesterday."""
        if self._record.is_file():
            with closing(Reader(self._record)) as reader:
                mark = reader.note_mark(desk)
            if mark:
                return mark
        old: int = db.execute(
            "SELECT coalesce(max(id), 0) FROM notes WHERE utc_ms < ?", (self._now_ms() - _OLD_MS,)
        ).fetchone()[0]
        return old
