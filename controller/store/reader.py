"""Reads a record while control writes it: frames, minutes, journal, cycles, checkpoint. Never writes."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from struct import Struct
from types import TracebackType
from typing import Any, NamedTuple

from controller.errors import StoreError
from controller.store.blocks import unpack_block
from controller.store.header import Header
from controller.store.minutes import COLUMN_BYTES, unpack_minute
from controller.store.schema import open_for_reading
from controller.store.writer import Checkpoint

NOTE_TAG = "PEOPLE"  # of journal lines of kind "note" that people left; the others are of the program


class FrameRow(NamedTuple):
    """Raw words of one scan. utc_ms: of the scan, counted from the first of its block."""

    scan: int
    utc_ms: int
    age_scans: int
    inputs: tuple[int, ...]
    outputs: tuple[int, ...]


class MinuteRow(NamedTuple):
    """One column over one minute."""

    utc_ms: int
    least: float
    mean: float
    greatest: float
    quality: int


class JournalRow(NamedTuple):
    """One line of the journal. data: what the event carried."""

    id: int
    scan: int
    utc_ms: int
    kind: str
    tag: str
    text: str
    data: dict[str, Any]


class CycleRow(NamedTuple):
    """One cycle. ended_ms, last_scan, summary are None while it runs."""

    cycle: int
    began_ms: int
    header: Header
    ended_ms: int | None
    last_scan: int | None
    summary: dict[str, Any] | None


class Reader:
    """One read-only connection; every call is one short transaction. Raises StoreError."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._db = open_for_reading(path)

    def __enter__(self) -> Reader:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the file back."""
        self._db.close()

    def cycles(self) -> list[CycleRow]:
        """Every cycle, oldest first."""
        return self._cycles("ORDER BY cycle")

    def newest(self) -> CycleRow | None:
        """The newest cycle, None for an empty record: a year of cycles need not be read for it."""
        return next(iter(self._cycles("ORDER BY cycle DESC LIMIT 1")), None)

    def header(self) -> Header:
        """Header of the newest cycle."""
        newest = self.newest()
        if newest is None:
            raise StoreError(f"the record {self._path} is empty")
        return newest.header

    def ran(self) -> frozenset[int]:
        """Cycles of the record in which one of the process was started; the others are what is between."""
        rows = self._all(
            "SELECT DISTINCT cycle FROM journal WHERE kind = 'state' AND json_extract(data, '$.from') = 'idle'"
        )
        return frozenset(row[0] for row in rows)

    def frames(self, first: int = 0, last: int | None = None) -> Iterator[FrameRow]:
        """Raw words of scans first..last, both included, in order; folded blocks first, then the tail."""
        upper = 2**62 if last is None else last
        headers = {row.cycle: row.header for row in self.cycles()}
        # The tail first: what is folded between the two looks is then seen twice, never missed.
        tail = self._all(
            "SELECT scan, utc_ms, words FROM tail WHERE scan BETWEEN ? AND ? ORDER BY scan", (first, upper)
        )
        blocks = self._all(
            "SELECT cycle, first_scan, utc_ms, block FROM frames WHERE first_scan <= ? AND first_scan + scans > ?"
            " ORDER BY first_scan",
            (upper, first),
        )
        folded = -1
        for cycle, first_scan, utc_ms, block in blocks:
            header = headers[cycle]
            rows = unpack_block(block, header.row_words)
            folded = first_scan + len(rows) - 1
            for offset, row in enumerate(rows):
                if first <= first_scan + offset <= upper:
                    at_ms = utc_ms + round(1000 * header.scan_s * offset)
                    yield _frame(first_scan + offset, at_ms, row, header)
        for scan, utc_ms, words in tail:
            if scan <= folded:
                continue
            header = headers[max(headers)]
            yield _frame(scan, utc_ms, Struct(f">{header.row_words}H").unpack(words), header)

    def minutes(self, tag: str, from_ms: int = 0, to_ms: int = 2**62) -> list[MinuteRow]:
        """One column by minute. Raises StoreError for a tag that no cycle of the record has."""
        found: list[MinuteRow] = []
        known = False
        for cycle in self.cycles():
            columns = cycle.header.columns
            if tag not in columns:
                continue
            known = True
            rows = self._all(
                "SELECT utc_ms, substr(columns, ?, ?) FROM minutes WHERE cycle = ? AND utc_ms BETWEEN ? AND ?"
                " ORDER BY first_scan",
                (1 + COLUMN_BYTES * columns.index(tag), COLUMN_BYTES, cycle.cycle, from_ms, to_ms),
            )
            numbers = unpack_minute(b"".join([piece for _utc_ms, piece in rows]))
            found += [MinuteRow(row[0], *number) for row, number in zip(rows, numbers, strict=True)]
        if not known:
            raise StoreError(f"the record has no column {tag}; its columns: {', '.join(self.header().columns)}")
        return found

    def journal(self, after_id: int = 0, kind: str | None = None, limit: int = 2**31) -> list[JournalRow]:
        """Journal lines with a greater id, oldest first, of one kind or all."""
        rows = self._all(
            "SELECT id, scan, utc_ms, kind, tag, text, data FROM journal WHERE id > ? AND (? IS NULL OR kind = ?)"
            " ORDER BY id LIMIT ?",
            (after_id, kind, kind, limit),
        )
        return [_line(*row) for row in rows]

    def command_line(self, command: str, after_id: int = 0) -> JournalRow | None:
        """The outcome of the command with this id, None while there is none."""
        rows = self._all(
            "SELECT id, scan, utc_ms, kind, tag, text, data FROM journal"
            " WHERE id > ? AND kind = 'command' AND instr(data, ?) > 0 ORDER BY id",
            (after_id, json.dumps(command)),
        )
        return next((line for line in (_line(*row) for row in rows) if line.data.get("id") == command), None)

    def desk_mark(self, desk: str) -> int:
        """The greatest number of an order taken from this desk, 0 for none."""
        rows = self._all("SELECT data FROM journal WHERE kind = 'order' AND instr(data, ?) > 0", (json.dumps(desk),))
        args = [json.loads(data)["args"] for (data,) in rows]
        return max((int(found["number"]) for found in args if found.get("desk") == desk), default=0)

    def note_mark(self, desk: str) -> int:
        """The greatest number of a note taken from this desk, 0 for none."""
        rows = self._all(
            "SELECT data FROM journal WHERE kind = 'note' AND tag = ? AND instr(data, ?) > 0",
            (NOTE_TAG, json.dumps(desk)),
        )
        found = [json.loads(data) for (data,) in rows]
        return max((int(one["number"]) for one in found if one.get("desk") == desk), default=0)

    def last_line(self) -> int:
        """Id of the newest journal line, 0 for an empty journal."""
        found: int = self._all("SELECT coalesce(max(id), 0) FROM journal")[0][0]
        return found

    def checkpoint(self) -> Checkpoint | None:
        """The last checkpoint, None when there is none yet."""
        rows = self._all("SELECT scan, utc_ms, now_s, state FROM checkpoint")
        return Checkpoint(*rows[0]) if rows else None

    def last_scan(self) -> tuple[int, int] | None:
        """(scan, utc_ms) of the newest scan in the record, None for an empty one."""
        newest = "SELECT scan, utc_ms FROM tail UNION ALL SELECT scan, utc_ms FROM latest ORDER BY scan DESC LIMIT 1"
        rows = self._all(newest)
        found = [(row[0], row[1]) for row in rows]
        block = self._all("SELECT first_scan, scans, utc_ms FROM frames ORDER BY first_scan DESC LIMIT 1")
        if block:  # a tail that was folded after a kill is here only
            first_scan, scans, utc_ms = block[0]
            found.append((first_scan + scans - 1, utc_ms + round(1000 * self.header().scan_s * (scans - 1))))
        return max(found) if found else None

    def _cycles(self, order: str) -> list[CycleRow]:
        rows = self._all(f"SELECT cycle, began_ms, header, ended_ms, last_scan, summary FROM cycles {order}")
        return [
            CycleRow(cycle, began, Header.from_json(header), ended, last, json.loads(summary) if summary else None)
            for cycle, began, header, ended, last, summary in rows
        ]

    def _all(self, query: str, values: tuple[Any, ...] = ()) -> list[Any]:
        try:
            with closing(self._db.execute(query, values)) as cursor:
                return cursor.fetchall()
        except sqlite3.Error as error:
            raise StoreError(f"the record {self._path} cannot be read: {error}") from error


def _line(number: int, scan: int, utc_ms: int, kind: str, tag: str, text: str, data: str) -> JournalRow:
    return JournalRow(number, scan, utc_ms, kind, tag, text, json.loads(data))


def _frame(scan: int, utc_ms: int, row: tuple[int, ...], header: Header) -> FrameRow:
    outputs_from = 1 + header.input_words
    return FrameRow(scan, utc_ms, row[0], row[1:outputs_from], row[outputs_from:])
