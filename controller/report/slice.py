"""A record as it was when one of its older cycles ended: for a cycle that nobody summed up before the next began."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from controller.store.header import Header
from controller.store.reader import CycleRow, FrameRow, JournalRow, MinuteRow, Reader


class Slice(Reader):
    """Looks into another reader, up to the end of one cycle. Closing is left to that one."""

    def __init__(self, whole: Reader, cycle: CycleRow, path: Path) -> None:
        self._whole, self._cycle, self._path = whole, cycle, path
        rows = whole.cycles()
        after = next((row for row in rows if row.cycle > cycle.cycle), None)
        before = next((row for row in reversed(rows) if row.cycle < cycle.cycle), None)
        self._until_ms = after.began_ms if after else 2**62
        self._first = (before.last_scan if before and before.last_scan is not None else -1) + 1

    @property
    def scans(self) -> int:
        """How many scans the cycle has."""
        last = self._cycle.last_scan
        return 0 if last is None else last - self._first + 1

    def close(self) -> None:
        """Nothing: the file is the other reader's."""

    def cycles(self) -> list[CycleRow]:
        """Cycles up to this one."""
        return [row for row in self._whole.cycles() if row.cycle <= self._cycle.cycle]

    def header(self) -> Header:
        """Of this cycle."""
        return self._cycle.header

    def frames(self, first: int = 0, last: int | None = None) -> Iterator[FrameRow]:
        """Frames of this cycle."""
        end = self._cycle.last_scan if self._cycle.last_scan is not None else 2**62
        return self._whole.frames(max(first, self._first), end if last is None else min(last, end))

    def minutes(self, tag: str, from_ms: int = 0, to_ms: int = 2**62) -> list[MinuteRow]:
        """Minutes before the next cycle."""
        return self._whole.minutes(tag, from_ms, min(to_ms, self._until_ms - 1))

    def journal(self, after_id: int = 0, kind: str | None = None, limit: int = 2**31) -> list[JournalRow]:
        """Lines before the next cycle."""
        return [row for row in self._whole.journal(after_id, kind, limit) if row.utc_ms < self._until_ms]

    def last_scan(self) -> tuple[int, int] | None:
        """Of this cycle, with the time at which it was ended."""
        if self._cycle.last_scan is None:
            return None
        return self._cycle.last_scan, self._cycle.ended_ms or self._until_ms
