"""The recorder: takes every scan in a few list appends, folds minutes, writes in groups, and never stops control.

In lockstep it runs inline and commits once in ten simulated minutes. In real time a thread of its own drives it
(`threaded.py`) and commits every scan. What the disk refuses waits in memory, is counted and tried again.
"""

from __future__ import annotations

import json
import sqlite3
from collections import deque
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Generic, NamedTuple

from controller.core.frames import Command, Event
from controller.core.quick import row_maker
from controller.errors import StoreError
from controller.store.blocks import pack_block
from controller.store.checkpoint import State, StateCodec
from controller.store.header import Header
from controller.store.minutes import pack_minute
from controller.store.trouble import advice
from controller.store.writer import Batch, Block, Checkpoint, Line, Tail, Writer, columns_packer

BLOCKS_WAITING_MAX = 1440  # a day of minutes, about 5 MB
LINES_WAITING_MAX = 10_000
SAVE_EVERY_S, SAVE_EVERY_SCANS = 10.0, 10  # whichever is sooner, the state is saved
# ValueError: what stands there cannot be understood. MemoryError: SQLite could have no more just now.
REFUSALS = (sqlite3.Error, OSError, StoreError, ValueError, MemoryError)


class Scan(NamedTuple):
    """What one scan leaves behind. Everything in it is frozen, so it may cross to another thread.

    words: age, input words, output words, packed big-endian.  values, qualities: analog inputs; computed: columns.
    commands: applied in this scan.  events: of the scan and of the runtime, in order.  begins: the head of a new cycle
    that this scan is the first of.
    """

    scan: int
    utc_ms: int
    now_s: float
    words: bytes
    values: tuple[float, ...]
    qualities: tuple[int, ...]
    computed: tuple[float, ...]
    state: Any
    commands: tuple[Command, ...] = ()
    events: tuple[Event, ...] = ()
    begins: Header | None = None


scan_row = row_maker(Scan)  # from all its fields, as a tuple
_Kept = tuple[bytes, tuple[float, ...], tuple[int, ...], tuple[float, ...]]


class _Minute:
    """Scans on their way into one block, only what goes into it: the states of all but the newest are let go at once,
    so that the next scan finds their memory still in the cache."""

    __slots__ = ("first_scan", "rows", "utc_ms")

    def __init__(self) -> None:
        self.first_scan = self.utc_ms = 0
        self.rows: list[_Kept] = []

    def take(self, row: Scan) -> int:
        """Add one scan; returns how many there are."""
        rows = self.rows
        if not rows:
            self.first_scan, self.utc_ms = row.scan, row.utc_ms
        rows.append(row[3:7])  # words, values, qualities, computed
        return len(rows)


class Recorder(Generic[State]):
    """Writes one record. `codec` turns the state into the checkpoint (None = no checkpoint).

    began_ms: UTC at which this cycle begins, if it does not go on with the open one.
    group_minutes: minutes in one commit.  every_scan: also keep a tail row a scan; whoever drives it commits.
    notices: what the runtime should journal and alarm (the disk refuses, the disk takes again).
    Raises StoreError when the record cannot be opened at all.
    """

    def __init__(
        self,
        path: Path,
        header: Header,
        codec: StateCodec[State] | None = None,
        *,
        began_ms: int,
        group_minutes: int = 10,
        every_scan: bool = False,
    ) -> None:
        self._path = path
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._writer = Writer(path, header, began_ms)
        except REFUSALS as error:
            raise StoreError(f"the record {path} cannot be written: {error}; {advice(error, path)}") from error
        self._codec = codec
        self._per_minute = max(1, round(60.0 / header.scan_s))
        self._save_every = max(1, min(SAVE_EVERY_SCANS, int(SAVE_EVERY_S / header.scan_s)))
        self._saved = -self._save_every  # scan of the newest checkpoint that is committed
        self._group_minutes = group_minutes
        self._every_scan = every_scan
        self._pack_columns = columns_packer(len(header.tags), len(header.computed)).pack
        self._batch = Batch()
        self._minute = _Minute()
        self._next_id = self._writer.last_id + 1
        self._newest: Scan | None = None  # not yet in a commit
        self._last: Scan | None = None  # in a commit or not
        self._summaries: deque[tuple[int, str]] = deque()
        self._minutes = 0
        self._pause = 0
        self.notices: deque[Event] = deque(maxlen=100)
        self.refused = 0
        self.scans_lost = 0
        self.lines_lost = 0
        self._failing = False
        self._advice = ""

    @property
    def last_scan(self) -> int:
        """Number of the last scan in folded blocks, -1 for none."""
        return self._writer.last_scan

    @property
    def last_id(self) -> int:
        """Id of the last journal line that is committed: it and all before it are acknowledged."""
        return self._writer.last_id

    @property
    def trouble(self) -> bool:
        """True while the disk refuses."""
        return self._failing

    def add(self, row: Scan) -> None:
        """Take one scan. Inline: a list append, once a minute the fold, once a group the commit."""
        if row.begins is not None:
            self._begin(row.begins, row.utc_ms)
        minute = self._minute
        if minute.rows and row.scan != minute.first_scan + len(minute.rows):
            self._fold()  # a block has consecutive scans
            minute = self._minute
        self._newest = self._last = row
        if row.commands or row.events:
            self._add_lines(row)
        if self._every_scan:
            self._batch.tails.append(self._tail(row))
        if minute.take(row) >= self._per_minute:
            self._fold()
            self._minutes += 1
            if self._minutes >= self._group_minutes and not self._every_scan:
                self.commit()

    def commit(self) -> bool:
        """Write what waits; False when the disk refuses (it waits on, and is tried again)."""
        if self._pause > 0:
            self._pause -= 1
            return False
        batch = self._batch
        self._minutes = 0
        while self._summaries:
            batch.summaries.append(self._summaries.popleft())
        try:
            self._complete(batch)
            self._writer.write(batch)
        except REFUSALS as error:
            self._refused(error)
            return False
        self._batch = Batch()
        self._newest = None
        if batch.checkpoint is not None:
            self._saved = batch.checkpoint.scan
        if self._failing:
            self._recovered()
        return True

    def sum_up(self, cycle: int, summary: Mapping[str, Any]) -> None:
        """Put its summary to a cycle that is over, with the next commit. Any thread may call it."""
        self._summaries.append((cycle, json.dumps(summary)))

    def end_cycle(self, summary: Mapping[str, Any], utc_ms: int) -> None:
        """Write everything, then the summary and the seal of the cycle. Raises StoreError when it cannot."""
        self._flush()
        try:
            self._writer.end_cycle(json.dumps(summary), utc_ms)
        except REFUSALS as error:
            raise self._store_error(error) from error

    def close(self) -> None:
        """Write everything and close the file. Raises StoreError when something could not be written."""
        try:
            self._flush()
        finally:
            self._writer.close()

    def _flush(self) -> None:
        if self._minute.rows:
            self._fold()
        self._take_notices()
        batch = self._batch
        if self._newest is None and not batch.blocks and not self._summaries:
            return
        self._pause = 0
        good = self.commit()
        if good and self._take_notices():  # that the disk takes again
            batch = self._batch
            good = self.commit()
        if not good:
            raise StoreError(
                f"the record {self._path} is not complete: {len(batch.blocks)} minutes and {len(batch.lines)} journal"
                f" lines could not be written; {self._advice}"
            )

    def _take_notices(self) -> bool:
        """Lines of what no scan comes to take along any more; False when there is nothing."""
        last = self._last
        if last is None or not self.notices:
            return False
        self._newest = last
        self._add_lines(last._replace(commands=(), events=tuple(self.notices)))
        self.notices.clear()
        return True

    def _begin(self, header: Header, utc_ms: int) -> None:
        """End the cycle and begin another. What a disk refuses just now is later written with the new one."""
        if self._minute.rows:
            self._fold()
        self.commit()
        self._writer.begin_cycle(header, utc_ms)

    def _fold(self) -> None:
        minute, self._minute = self._minute, _Minute()
        words, values, qualities, computed = zip(*minute.rows, strict=True)
        block = Block(
            minute.first_scan, len(words), minute.utc_ms, pack_block(words), pack_minute(values, computed, qualities)
        )
        batch = self._batch
        batch.blocks.append(block)
        batch.tails.clear()
        if len(batch.blocks) > BLOCKS_WAITING_MAX:
            self.scans_lost += batch.blocks.pop(0).scans

    def _add_lines(self, row: Scan) -> None:
        for command in row.commands:
            data = {"id": command.id, "verb": command.verb, "who": command.who, "args": dict(command.args)}
            self._line(row, "order", command.verb, f"{command.verb} ordered by {command.who}", json.dumps(data))
        for event in row.events:
            self._line(row, event.kind, event.tag, event.text, json.dumps(dict(event.data)))

    def _line(self, row: Scan, kind: str, tag: str, text: str, data: str) -> None:
        lines = self._batch.lines
        if len(lines) >= LINES_WAITING_MAX:
            self.lines_lost += 1
            return
        lines.append(Line(self._next_id, row.scan, row.utc_ms, kind, tag, text, data))
        self._next_id += 1

    def _tail(self, row: Scan) -> Tail:
        return Tail(row.scan, row.utc_ms, row.words, self._pack_columns(*row.values, *row.computed, *row.qualities))

    def _complete(self, batch: Batch) -> None:
        """Latest values and checkpoint of the newest scan; in every-scan mode the checkpoint with every journal line,
        and before it is 10 s old, however many scans one commit takes."""
        newest = self._newest
        if newest is None:
            return
        if not batch.tails:  # else the last tail row is the latest
            batch.latest = self._tail(newest)
        due = not self._every_scan or batch.lines or batch.blocks or newest.scan - self._saved >= self._save_every
        if self._codec is not None and due:
            state = self._codec.dump(newest.state)
            batch.checkpoint = Checkpoint(newest.scan, newest.utc_ms, newest.now_s, state)

    def _refused(self, error: Exception) -> None:
        self.refused += 1
        self._advice = advice(error, self._path)
        self._pause = 4 if self._every_scan else 0
        if not self._failing:
            self._failing = True
            why = str(error) or repr(error)
            text = f"the record cannot be written ({why}); control goes on, it is kept in memory; {self._advice}"
            self.notices.append(Event("note", "RECORD", text, (("active", True),)))

    def _recovered(self) -> None:
        self._failing = False
        lost = f"{self.scans_lost} scans and {self.lines_lost} journal lines were lost"
        text = f"the record is written again after {self.refused} refused writes; {lost}"
        self.notices.append(Event("note", "RECORD", text, (("active", False), ("scans_lost", self.scans_lost))))

    def _store_error(self, error: Exception) -> StoreError:
        return StoreError(f"the record {self._path} cannot be written: {error}; {advice(error, self._path)}")
