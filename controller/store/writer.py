"""The one place that writes `record.sqlite`: a whole batch in one transaction, or nothing of it."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, field
from pathlib import Path
from struct import Struct
from typing import NamedTuple

from controller.store.blocks import pack_block
from controller.store.chain import GENESIS, after_block, after_cycle, after_line, seal_of
from controller.store.header import Header
from controller.store.minutes import pack_minute
from controller.store.schema import open_for_writing


class Block(NamedTuple):
    """One minute, folded: frames and minute row."""

    first_scan: int
    scans: int
    utc_ms: int
    frames: bytes
    minute: bytes


class Tail(NamedTuple):
    """One scan not yet folded. columns: values and computed as 64-bit floats, then qualities as bytes."""

    scan: int
    utc_ms: int
    words: bytes
    columns: bytes


class Line(NamedTuple):
    """One journal line. data: JSON object."""

    id: int
    scan: int
    utc_ms: int
    kind: str
    tag: str
    text: str
    data: str


class Checkpoint(NamedTuple):
    """State after a scan, and when."""

    scan: int
    utc_ms: int
    now_s: float
    state: str


@dataclass(slots=True)
class Batch:
    """What waits to be written."""

    blocks: list[Block] = field(default_factory=list)
    tails: list[Tail] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    summaries: list[tuple[int, str]] = field(default_factory=list)  # of cycles that are over: (cycle, JSON)
    latest: Tail | None = None
    checkpoint: Checkpoint | None = None


class Writer:
    """Owns the connection. After an error it is closed, and the next write opens it again and looks what is there."""

    def __init__(self, path: Path, header: Header, began_ms: int) -> None:
        self._path = path
        self._header = header
        self._began_ms = began_ms
        self._db: sqlite3.Connection | None = None
        self._cycle = 0
        self._anew = False  # the open cycle is over, whatever its header
        self.last_scan = -1
        self.last_id = 0
        self._frames_head = self._journal_head = GENESIS
        self._open(fold=True)

    def write(self, batch: Batch) -> None:
        """Commit everything in the batch that is not there yet. Raises sqlite3.Error or OSError; then nothing is."""
        try:
            db = self._db or self._open()
            # A power cut may take back what was written without a sync; what somebody was told must survive it.
            db.execute(f"PRAGMA synchronous = {'FULL' if batch.lines else 'NORMAL'}")
            db.execute("BEGIN IMMEDIATE")
            frames_head, last_scan = self._put_blocks(db, batch.blocks)
            journal_head, last_id = self._put_lines(db, batch.lines)
            self._put_rest(db, batch)
            for cycle, summary in batch.summaries:
                self._sum_up(db, cycle, summary)
            db.execute("COMMIT")
        except (sqlite3.Error, OSError, MemoryError):
            self._abandon()
            raise
        self._frames_head, self._journal_head = frames_head, journal_head
        self.last_scan, self.last_id = last_scan, last_id

    def begin_cycle(self, header: Header, began_ms: int) -> None:
        """The next write ends the open cycle without a summary and begins one with this header. A summary may follow
        with a later batch."""
        self._header, self._began_ms, self._anew = header, began_ms, True
        self._abandon()

    def end_cycle(self, summary: str, utc_ms: int) -> None:
        """Seal the cycle: its summary and the heads of its chains. Raises sqlite3.Error or OSError."""
        try:
            db = self._db or self._open()
            db.execute("PRAGMA synchronous = FULL")
            self._seal(db, summary, utc_ms)
        except (sqlite3.Error, OSError):
            self._abandon()
            raise

    def close(self) -> None:
        """Fold the log back into the file and close it."""
        if self._db is not None:
            self._db.close()  # the last connection folds the log back
            self._db = None

    def _open(self, *, fold: bool = False) -> sqlite3.Connection:
        """fold: rows in the tail are those of a process before this one. Later they are of the minute that the recorder
        still has in hand: folded here, the rest of that minute would come too late for its block."""
        db = open_for_writing(self._path)
        try:
            db.execute("BEGIN IMMEDIATE")
            self._enter_cycle(db, fold=fold)
            if fold:
                self._fold_tail(db)
            db.execute("COMMIT")
        except BaseException:
            db.close()
            raise
        self._db, self._anew = db, False
        return db

    def _enter_cycle(self, db: sqlite3.Connection, *, fold: bool) -> None:
        """Go on with the open cycle when it has this header, else end it and begin a new one."""
        header = self._header.to_json()
        self.last_scan = db.execute("SELECT coalesce(max(first_scan + scans), 0) - 1 FROM frames").fetchone()[0]
        self.last_id = db.execute("SELECT coalesce(max(id), 0) FROM journal").fetchone()[0]
        last = db.execute("SELECT cycle, header, chain, ended_ms FROM cycles ORDER BY cycle DESC LIMIT 1").fetchone()
        if last is not None:
            self._cycle = last[0]
            self._frames_head = _head(db, "frames", "first_scan", last[0], last[2])
            self._journal_head = _head(db, "journal", "id", last[0], last[2])
            if last[3] is None and last[1] == header and not self._anew:
                return
            if last[3] is None:
                if fold:
                    self._fold_tail(db)
                self._seal(db, "", self._began_ms)
        head = after_cycle(last[2] if last is not None else GENESIS, header)
        self._cycle = (last[0] if last is not None else 0) + 1
        self._frames_head = self._journal_head = head
        db.execute(
            "INSERT INTO cycles (cycle, began_ms, header, chain) VALUES (?, ?, ?, ?)",
            (self._cycle, self._began_ms, header, head),
        )

    def _fold_tail(self, db: sqlite3.Connection) -> None:
        """Rows left by a process that was killed become a block of their own, shorter than a minute."""
        rows = [Tail(*row) for row in db.execute("SELECT * FROM tail ORDER BY scan")]
        rows = [row for row in rows if row.scan > self.last_scan]
        header = Header.from_json(
            db.execute("SELECT header FROM cycles WHERE cycle = ?", (self._cycle,)).fetchone()[0]
        )
        for run in _consecutive(rows):
            self._frames_head, self.last_scan = self._put_blocks(db, [_folded(run, header)])
        db.execute("DELETE FROM tail")

    def _put_blocks(self, db: sqlite3.Connection, blocks: list[Block]) -> tuple[bytes, int]:
        head, last_scan = self._frames_head, self.last_scan
        for block in blocks:
            if block.first_scan <= last_scan:  # a commit that failed may have happened all the same
                continue
            head = after_block(head, *block)
            row = (block.first_scan, self._cycle, block.scans, block.utc_ms)
            db.execute("INSERT INTO frames VALUES (?, ?, ?, ?, ?, ?)", (*row, block.frames, head))
            db.execute("INSERT INTO minutes VALUES (?, ?, ?, ?, ?)", (*row, block.minute))
            last_scan = block.first_scan + block.scans - 1
        return head, last_scan

    def _put_lines(self, db: sqlite3.Connection, lines: list[Line]) -> tuple[bytes, int]:
        head, last_id = self._journal_head, self.last_id
        for line in lines:
            if line.id <= last_id:
                continue
            head = after_line(head, line)
            row = (line.id, self._cycle, *line[1:], head)
            db.execute("INSERT INTO journal VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", row)
            last_id = line.id
        return head, last_id

    def _put_rest(self, db: sqlite3.Connection, batch: Batch) -> None:
        if batch.blocks:
            last = batch.blocks[-1]
            db.execute("DELETE FROM tail WHERE scan < ?", (last.first_scan + last.scans,))
        db.executemany("INSERT OR REPLACE INTO tail VALUES (?, ?, ?, ?)", batch.tails)
        if batch.latest is not None:
            db.execute("INSERT OR REPLACE INTO latest VALUES (1, ?, ?, ?, ?)", batch.latest)
        if batch.checkpoint is not None:
            db.execute("INSERT OR REPLACE INTO checkpoint VALUES (1, ?, ?, ?, ?)", batch.checkpoint)

    def _seal(self, db: sqlite3.Connection, summary: str, utc_ms: int) -> None:
        seal = seal_of(utc_ms, self.last_scan, summary, self._frames_head, self._journal_head)
        db.execute(
            "UPDATE cycles SET ended_ms = ?, last_scan = ?, summary = ?, seal = ? WHERE cycle = ?",
            (utc_ms, self.last_scan, summary, seal, self._cycle),
        )

    def _sum_up(self, db: sqlite3.Connection, cycle: int, summary: str) -> None:
        """Put the summary to a cycle that ended without one, and seal it anew: its chains have not changed since."""
        row = db.execute(
            "SELECT chain, ended_ms, last_scan FROM cycles WHERE cycle = ? AND ended_ms IS NOT NULL AND summary = ''",
            (cycle,),
        ).fetchone()
        if row is None:  # nothing to put it to, or it has one
            return
        chain, ended_ms, last_scan = row
        frames = _head(db, "frames", "first_scan", cycle, chain)
        seal = seal_of(ended_ms, last_scan, summary, frames, _head(db, "journal", "id", cycle, chain))
        db.execute("UPDATE cycles SET summary = ?, seal = ? WHERE cycle = ?", (summary, seal, cycle))

    def _abandon(self) -> None:
        db, self._db = self._db, None
        if db is not None:
            db.close()  # an open transaction is taken back


def columns_packer(inputs: int, computed: int) -> Struct:
    """Layout of Tail.columns."""
    return Struct(f">{inputs + computed}d{inputs}B")


def _folded(rows: list[Tail], header: Header) -> Block:
    inputs, computed = len(header.tags), len(header.computed)
    unpack = columns_packer(inputs, computed).unpack
    numbers = [unpack(row.columns) for row in rows]
    minute = pack_minute(
        [row[:inputs] for row in numbers],
        [row[inputs : inputs + computed] for row in numbers],
        [row[inputs + computed :] for row in numbers],
    )
    return Block(rows[0].scan, len(rows), rows[0].utc_ms, pack_block([row.words for row in rows]), minute)


def _consecutive(rows: list[Tail]) -> list[list[Tail]]:
    runs: list[list[Tail]] = []
    for row in rows:
        if runs and row.scan == runs[-1][-1].scan + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    return runs


def _head(db: sqlite3.Connection, table: str, key: str, cycle: int, start: bytes) -> bytes:
    row = db.execute(f"SELECT chain FROM {table} WHERE cycle = ? ORDER BY {key} DESC LIMIT 1", (cycle,)).fetchone()
    return start if row is None else row[0]

