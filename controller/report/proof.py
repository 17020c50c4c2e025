"""By what a record can be known again: the hash of its file, the heads of its chains, and whether they hold."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from hashlib import file_digest
from pathlib import Path
from typing import NamedTuple

from controller.errors import StoreError
from controller.store.schema import open_for_reading
from controller.store.verify import verify


class Proof(NamedTuple):
    """sha256: of the file; None while its log holds rows that the file does not.  seal: of the cycle, None while open.

    frames, journal: last links of the chains of the cycle, hexadecimal, None while there are none. problems: what was
    changed; empty = nothing.
    """

    sha256: str | None
    frames: str | None
    journal: str | None
    seal: str | None
    problems: list[str]


_LAST = (
    "SELECT chain FROM frames WHERE cycle = ? ORDER BY first_scan DESC LIMIT 1",
    "SELECT chain FROM journal WHERE cycle = ? ORDER BY id DESC LIMIT 1",
    "SELECT seal FROM cycles WHERE cycle = ?",
)


def proof(path: Path, cycle: int) -> Proof:
    """Walk the whole record. Raises StoreError when it cannot be read."""
    problems = verify(path)
    with closing(open_for_reading(path)) as db:
        try:
            frames, journal, seal = (db.execute(query, (cycle,)).fetchone() for query in _LAST)
        except sqlite3.Error as error:
            raise StoreError(f"the record {path} cannot be read: {error}") from error
    return Proof(_whole_file(path), _hex(frames), _hex(journal), _hex(seal), problems)


def _hex(row: tuple[bytes | None] | None) -> str | None:
    return row[0].hex() if row and row[0] else None


def _whole_file(path: Path) -> str | None:
    log = path.with_name(path.name + "-wal")
    if log.exists() and log.stat().st_size:
        return None
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()
