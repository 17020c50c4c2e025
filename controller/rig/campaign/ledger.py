"""A record in memory: what a judge wants to know of a run, and nothing for the disk."""

from __future__ import annotations

from collections import deque
from typing import Any

from controller.core.frames import Event


class Ledger:
    """Takes the scans of a run: how many, whether one is missing, and every event with its scan. A Sink."""

    def __init__(self) -> None:
        self.notices: deque[Event] = deque()
        self.events: list[tuple[int, Event]] = []
        self.scans = 0
        self.gaps: list[int] = []
        self._next: int | None = None

    def restarted(self) -> None:
        """Another controller goes on: the scans in which there was none are not missing."""
        self._next = None

    def add(self, row: Any) -> None:
        """Take one scan."""
        if self._next is not None and row.scan != self._next:
            self.gaps.append(row.scan)
        self._next = row.scan + 1
        self.scans += 1
        if row.events:
            self.events += [(row.scan, event) for event in row.events]
