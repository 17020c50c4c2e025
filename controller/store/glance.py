"""What somebody who looks on asks of a record again and again: its newest scan, its newest lines, where a cycle began.

Every call is one short transaction, so that control is never held up and the log can be folded back.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from struct import Struct
from typing import Any, NamedTuple

from controller.errors import StoreError
from controller.store.header import Header
from controller.store.minutes import COLUMN_BYTES, unpack_minute
from controller.store.reader import JournalRow
from controller.store.schema import open_for_reading
from controller.store.writer import Checkpoint, columns_packer


class Newest(NamedTuple):
    """The newest scan: raw words, values and qualities of the analog inputs, computed columns."""

    scan: int
    utc_ms: int
    age_scans: int
    inputs: tuple[int, ...]
    outputs: tuple[int, ...]
    values: tuple[float, ...]
    computed: tuple[float, ...]
    qualities: tuple[int, ...]


class Glance:
    """One read-only connection, for one thread. Raises StoreError."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._db = open_for_reading(path)

    def close(self) -> None:
        """Give the file back."""
        self._db.close()

    def scan(self) -> int:
        """Number of the newest scan in tail or latest, -1 when there is none."""
        return int(self._all(
            "SELECT max(coalesce((SELECT max(scan) FROM tail), -1), coalesce((SELECT scan FROM latest), -1))"
        )[0][0])  # fmt: skip

    def cycle(self) -> int:
        """Number of the newest cycle, 0 for an empty record."""
        return int(self._all("SELECT coalesce(max(cycle), 0) FROM cycles")[0][0])

    def header(self) -> tuple[int, str, Header] | None:
        """(cycle, text, header) of the newest cycle, None for an empty record."""
        rows = self._all("SELECT cycle, header FROM cycles ORDER BY cycle DESC LIMIT 1")
        return (rows[0][0], rows[0][1], Header.from_json(rows[0][1])) if rows else None

    def newest(self, header: Header) -> Newest | None:
        """The newest scan, None while there is none. header: of the newest cycle."""
        rows = self._all(
            "SELECT scan, utc_ms, words, columns FROM tail UNION ALL SELECT scan, utc_ms, words, columns FROM latest"
            " ORDER BY scan DESC LIMIT 1"
        )
        if not rows:
            return None
        scan, utc_ms, words, columns = rows[0]
        inputs, computed = len(header.tags), len(header.computed)
        shape = columns_packer(inputs, computed)
        if len(words) != 2 * header.row_words or len(columns) != shape.size:
            return None  # a scan of the cycle before, written under another head
        row = Struct(f">{header.row_words}H").unpack(words)
        cells = shape.unpack(columns)
        cut = 1 + header.input_words
        return Newest(
            scan, utc_ms, row[0], row[1:cut], row[cut:], cells[:inputs], cells[inputs : inputs + computed],
            cells[inputs + computed :],
        )  # fmt: skip

    def checkpoint_scan(self) -> int:
        """Scan of the checkpoint, -1 when there is none: a cheap look whether it is a new one."""
        rows = self._all("SELECT scan FROM checkpoint")
        return int(rows[0][0]) if rows else -1

    def checkpoint(self) -> Checkpoint | None:
        """The last checkpoint."""
        rows = self._all("SELECT scan, utc_ms, now_s, state FROM checkpoint")
        return Checkpoint(*rows[0]) if rows else None

    def last_id(self) -> int:
        """Id of the newest journal line."""
        return int(self._all("SELECT coalesce(max(id), 0) FROM journal")[0][0])

    def lines(
        self, *, after: int = 0, before: int = 2**62, kinds: tuple[str, ...] = (), since_ms: int = 0, limit: int = 200
    ) -> list[JournalRow]:
        """Journal lines with after < id < before, newest first. kinds: of these only, empty = all."""
        holders = ",".join("?" * len(kinds))
        rows = self._all(
            "SELECT id, scan, utc_ms, kind, tag, text, data FROM journal WHERE id > ? AND id < ? AND utc_ms >= ?"
            + (f" AND kind IN ({holders})" if kinds else "")
            + " ORDER BY id DESC LIMIT ?",
            (after, before, since_ms, *kinds, limit),
        )
        return [_line(row) for row in rows]

    def outcome(self, command_id: str, after: int = 0) -> JournalRow | None:
        """The outcome of a command, None while it has none. after: look at younger lines only."""
        rows = self._all(
            "SELECT id, scan, utc_ms, kind, tag, text, data FROM journal WHERE id > ? AND kind = 'command'"
            " AND json_extract(data, '$.id') = ? ORDER BY id DESC LIMIT 1",
            (after, command_id),
        )
        return _line(rows[0]) if rows else None

    def began(self) -> tuple[int, int] | None:
        """(cycle of the record, UTC ms) in which something was started last, None when nothing ever was. What comes
        after the end of a cycle is a cycle of the record too."""
        rows = self._all(
            "SELECT cycle, utc_ms FROM journal WHERE kind = 'state' AND json_extract(data, '$.from') = 'idle'"
            " ORDER BY id DESC LIMIT 1"
        )
        return (rows[0][0], rows[0][1]) if rows else None

    def columns(self, after: int = 0) -> dict[int, tuple[str, ...]]:
        """The columns of a minute, for every cycle with a greater number."""
        rows = self._all("SELECT cycle, header FROM cycles WHERE cycle > ?", (after,))
        return {cycle: Header.from_json(header).columns for cycle, header in rows}

    def minute_columns(
        self, cycle: int, from_ms: int, to_ms: int = 2**62, limit: int = 2**31
    ) -> list[tuple[int, bytes]]:
        """(utc_ms, packed columns) of whole minutes of one cycle with from_ms <= utc_ms < to_ms, in order."""
        return self._all(
            "SELECT utc_ms, columns FROM minutes WHERE first_scan >= ? AND cycle = ? AND utc_ms >= ? AND utc_ms < ?"
            " ORDER BY first_scan LIMIT ?",
            (self._around(from_ms)[0], cycle, from_ms, to_ms, limit),
        )

    def minutes_from(self, from_ms: int, limit: int) -> list[tuple[int, int, bytes]]:
        """(utc_ms, cycle, packed columns) of whole minutes of every cycle with from_ms <= utc_ms, in order."""
        return self._all(
            "SELECT utc_ms, cycle, columns FROM minutes WHERE first_scan >= ? AND utc_ms >= ?"
            " ORDER BY first_scan LIMIT ?",
            (self._around(from_ms)[0], from_ms, limit),
        )

    def column(
        self, columns: dict[int, tuple[str, ...]], tag: str, from_ms: int, to_ms: int
    ) -> list[tuple[int, float, float, float, int]]:
        """(utc_ms, least, mean, greatest, worst quality) of one column by minute. columns: of every cycle."""
        found: list[tuple[int, float, float, float, int]] = []
        first, last = self._around(from_ms)[0], self._around(min(to_ms, 2**53))[1]
        here = self._all(  # of hundreds of cycles only those of this time
            "SELECT DISTINCT cycle FROM minutes WHERE first_scan BETWEEN ? AND ? ORDER BY cycle", (first, last)
        )
        for (cycle,) in here:
            names = columns.get(cycle, ())
            if tag not in names:
                continue
            rows = self._all(
                "SELECT utc_ms, substr(columns, ?, ?) FROM minutes WHERE first_scan BETWEEN ? AND ? AND cycle = ?"
                " AND utc_ms >= ? AND utc_ms < ? ORDER BY first_scan",
                (1 + COLUMN_BYTES * names.index(tag), COLUMN_BYTES, first, last, cycle, from_ms, to_ms),
            )
            numbers = unpack_minute(b"".join([piece for _utc_ms, piece in rows]))
            found += [(row[0], *number) for row, number in zip(rows, numbers, strict=True)]
        return found

    def _around(self, utc_ms: int) -> tuple[int, int]:
        """First scans of two minutes, one before this time and one after it, by halving: minutes are in order of time,
        and there is no index on it. An hour of slack at either side for clocks that were set back."""
        # Two small queries: asked for both at once, the whole table would be read.
        low, high = self._all(
            "SELECT coalesce((SELECT min(first_scan) FROM minutes), 0),"
            " coalesce((SELECT max(first_scan) FROM minutes), 0)"
        )[0]
        return self._halve(low, high, utc_ms - 3_600_000)[0], self._halve(low, high, utc_ms + 3_600_000)[1]

    def _halve(self, low: int, high: int, utc_ms: int) -> tuple[int, int]:
        while high - low > 4096:
            middle = (low + high) // 2
            rows = self._all("SELECT utc_ms FROM minutes WHERE first_scan >= ? ORDER BY first_scan LIMIT 1", (middle,))
            if rows and rows[0][0] < utc_ms:
                low = middle
            else:
                high = middle
        return low, high

    def _all(self, query: str, values: tuple[Any, ...] = ()) -> list[Any]:
        try:
            with closing(self._db.execute(query, values)) as cursor:
                return cursor.fetchall()
        except sqlite3.Error as error:
            raise StoreError(f"the record {self._path} cannot be read: {error}") from error


def _line(row: tuple[Any, ...]) -> JournalRow:
    number, scan, utc_ms, kind, tag, text, data = row
    return JournalRow(number, scan, utc_ms, kind, tag, text, json.loads(data))
