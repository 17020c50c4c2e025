"""Coarser copies of the minutes, so that a year is drawn as quickly as an hour: quarter hours, hours, six hours.

A file of the page's own (`page/trends.sqlite`), made from the record and never needed by anybody else: deleted, it is
made anew. A bucket has the layout of a minute: least, mean, greatest and worst quality of every column.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from itertools import takewhile
from math import isfinite, nan
from pathlib import Path
from struct import Struct

from controller.store.glance import Glance
from controller.store.minutes import COLUMN_BYTES, unpack_minute

QUARTER_MS, HOUR_MS, SIX_HOURS_MS = 900_000, 3_600_000, 21_600_000
LEVELS = (QUARTER_MS, HOUR_MS, SIX_HOURS_MS)
_MINUTES_AT_ONCE = 1440
_VERSION = 2  # of the tables below; a file of another version is made anew
_DROP = "DROP TABLE IF EXISTS heads; DROP TABLE IF EXISTS buckets; DROP TABLE IF EXISTS done;"
_TABLES = """
CREATE TABLE IF NOT EXISTS heads (id INTEGER PRIMARY KEY, columns TEXT NOT NULL UNIQUE);
CREATE TABLE IF NOT EXISTS buckets (
    chamber TEXT NOT NULL, level INTEGER NOT NULL, begin_ms INTEGER NOT NULL, head INTEGER NOT NULL,
    cells BLOB NOT NULL, PRIMARY KEY (chamber, level, begin_ms, head)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS done (chamber TEXT PRIMARY KEY, utc_ms INTEGER NOT NULL);
"""

Bucket = tuple[int, float, float, float, int]  # begin_ms, least, mean, greatest, worst quality


def open_rollups(path: Path) -> sqlite3.Connection:
    """Open or make the file; one that is not ours or damaged is made anew, for nothing in it is missed."""
    path.parent.mkdir(parents=True, exist_ok=True)
    for attempt in (1, 2):
        db = sqlite3.connect(path, timeout=2.0, isolation_level=None, check_same_thread=False)
        try:
            db.execute("PRAGMA journal_mode = WAL").fetchall()
            db.execute("PRAGMA synchronous = OFF")
            if db.execute("PRAGMA user_version").fetchone()[0] != _VERSION:
                db.executescript(_DROP)
            db.executescript(_TABLES + f"PRAGMA user_version = {_VERSION};")
        except sqlite3.DatabaseError:
            db.close()
            if attempt == 2:
                raise
            path.unlink(missing_ok=True)
        else:
            return db
    raise AssertionError("unreachable")


def follow(db: sqlite3.Connection, chamber: str, glance: Glance, cycles: dict[int, tuple[str, ...]]) -> bool:
    """Fold the minutes that are new into whole buckets; True when there may be more to do at once.

    cycles: columns of each cycle. A bucket is written when a minute of a later one is there, whichever cycle that is
    of: one in which a cycle ends and another begins has the minutes of both.
    """
    row = db.execute("SELECT utc_ms FROM done WHERE chamber = ?", (chamber,)).fetchone()
    minutes = glance.minutes_from(row[0] if row else 0, _MINUTES_AT_ONCE)
    if not minutes:
        return False
    end_ms = minutes[-1][0] - minutes[-1][0] % SIX_HOURS_MS
    whole = [one for one in minutes if one[0] < end_ms]
    if not whole and len(minutes) == _MINUTES_AT_ONCE:
        whole = minutes  # six hours with more minutes than they have: clocks were set back; fold them all the same
    whole = list(takewhile(lambda one: one[1] in cycles, whole))
    if not whole:
        return False
    db.execute("BEGIN IMMEDIATE")
    for columns in dict.fromkeys(cycles[cycle] for _utc_ms, cycle, _cells in whole):
        head = _head(db, columns)
        rows = [(utc_ms, cells) for utc_ms, cycle, cells in whole if cycles[cycle] == columns]
        for level in LEVELS:
            for begin_ms, cells in _fold(rows, len(columns), level):
                db.execute(
                    "INSERT OR REPLACE INTO buckets VALUES (?, ?, ?, ?, ?)", (chamber, level, begin_ms, head, cells)
                )
    db.execute("INSERT OR REPLACE INTO done VALUES (?, ?)", (chamber, whole[-1][0] + 1))
    db.execute("COMMIT")
    return True


def buckets(db: sqlite3.Connection, chamber: str, tag: str, level: int, from_ms: int, to_ms: int) -> list[Bucket]:
    """One column over whole buckets, in order; what a cycle did not have is left out."""
    found: list[Bucket] = []
    for head, text in db.execute("SELECT id, columns FROM heads").fetchall():
        columns = json.loads(text)
        if tag not in columns:
            continue
        with closing(db.execute(
            "SELECT begin_ms, substr(cells, ?, ?) FROM buckets WHERE chamber = ? AND level = ? AND begin_ms >= ?"
            " AND begin_ms < ? AND head = ? ORDER BY begin_ms",
            (1 + COLUMN_BYTES * columns.index(tag), COLUMN_BYTES, chamber, level, from_ms, to_ms, head),
        )) as cursor:  # fmt: skip
            rows = cursor.fetchall()
        numbers = unpack_minute(b"".join([cells for _begin, cells in rows]))
        found += [(row[0], *number) for row, number in zip(rows, numbers, strict=True)]
    return sorted(found)


def done_ms(db: sqlite3.Connection, chamber: str) -> int:
    """UTC up to which minutes are folded."""
    row = db.execute("SELECT utc_ms FROM done WHERE chamber = ?", (chamber,)).fetchone()
    return int(row[0]) if row else 0


def _head(db: sqlite3.Connection, columns: tuple[str, ...]) -> int:
    text = json.dumps(columns)
    db.execute("INSERT OR IGNORE INTO heads (columns) VALUES (?)", (text,))
    return int(db.execute("SELECT id FROM heads WHERE columns = ?", (text,)).fetchone()[0])


def _fold(minutes: list[tuple[int, bytes]], columns: int, level: int) -> list[tuple[int, bytes]]:
    groups: dict[int, list[bytes]] = {}
    for utc_ms, cells in minutes:
        if len(cells) == COLUMN_BYTES * columns:
            groups.setdefault(utc_ms - utc_ms % level, []).append(cells)
    pack = Struct(">" + "fffB" * columns).pack
    return [(begin, pack(*_cells(rows))) for begin, rows in groups.items()]


def _cells(rows: list[bytes]) -> list[float | int]:
    found: list[float | int] = []
    for cells in zip(*[unpack_minute(row) for row in rows], strict=True):
        known = [cell for cell in cells if isfinite(cell[1])]
        if known:
            found += [
                min(cell[0] for cell in known), sum(cell[1] for cell in known) / len(known),
                max(cell[2] for cell in known),
            ]  # fmt: skip
        else:
            found += [nan, nan, nan]
        found.append(max(cell[3] for cell in cells))
    return found
