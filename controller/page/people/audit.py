"""The trail of what people did at the page: who, from where, what, old and new value, why, and what became of it.

Lines are only ever added, and each carries a hash over itself and the one before it.
"""

from __future__ import annotations

import json
import time
from hashlib import sha256
from typing import NamedTuple

from controller.page.people.book import Book


class AuditLine(NamedTuple):
    """One line. old, new: as text; result: done, refused or failed, with the reason."""

    id: int
    utc_ms: int
    who: str
    role: str
    station: str
    what: str
    object: str
    old: str
    new: str
    reason: str
    result: str


_FIELDS = "utc_ms, who, role, station, what, object, old, new, reason, result"


def note(
    book: Book, who: str, role: str, station: str, what: str, about: str = "", *, old: str = "", new: str = "",
    reason: str = "", result: str = "done",
) -> None:  # fmt: skip
    """Add one line."""
    row = (time.time_ns() // 1_000_000, who, role, station, what, about, old, new, reason, result)
    with book.writing() as db:
        last = db.execute("SELECT chain FROM audit ORDER BY id DESC LIMIT 1").fetchone()
        db.execute(
            f"INSERT INTO audit ({_FIELDS}, chain) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (*row, _chain(last[0] if last else "", row)),
        )


def lines(book: Book, before: int = 2**62, limit: int = 200) -> list[AuditLine]:
    """The newest lines first."""
    rows = book.rows(f"SELECT id, {_FIELDS} FROM audit WHERE id < ? ORDER BY id DESC LIMIT ?", before, limit)
    return [AuditLine(*row) for row in rows]


def unbroken(book: Book) -> bool:
    """Whether every line still follows from the one before it."""
    before = ""
    for *row, chain in book.rows(f"SELECT {_FIELDS}, chain FROM audit ORDER BY id"):
        if chain != _chain(before, tuple(row)):
            return False
        before = chain
    return True


def _chain(before: str, row: tuple[int | str, ...]) -> str:
    return sha256((before + json.dumps(row, ensure_ascii=False)).encode()).hexdigest()
