"""Trends over any span: few enough points for a screen, with the least and greatest of each step, gaps left open."""

from __future__ import annotations

import sqlite3
import threading
from math import isfinite
from pathlib import Path
from typing import Any

from controller.errors import StoreError
from controller.page.live import rollups
from controller.page.live.numbers import clean
from controller.page.live.rollups import LEVELS, Bucket
from controller.store.glance import Glance

MINUTE_MS = 60_000
POINTS_MAX = 1500
SPAN_MS_MAX = 400 * 86_400_000
_ROWS_MAX = 1500  # the finest that has no more rows than this is read


class Trends:
    """Trends of one chamber. Any thread may ask; one at a time looks at the coarse copies."""

    def __init__(self, chamber: str, record: Path, rolled: sqlite3.Connection, lock: threading.Lock) -> None:
        self._chamber, self._record = chamber, record
        self._rolled, self._lock = rolled, lock
        self._columns: dict[int, tuple[str, ...]] = {}

    def read(self, tag: str, from_ms: int, to_ms: int, points: int) -> dict[str, Any]:
        """{tag, step_ms, utc_ms, least, mean, greatest, bad}; None where nothing is known, so that a line breaks.

        Raises StoreError for a tag that the record does not have.
        """
        points = min(max(points, 10), POINTS_MAX)
        found, fine_ms = self._rows(tag, from_ms, to_ms)
        steps = max(1, -(-(to_ms - from_ms) // (fine_ms * points)))
        return {"tag": tag, **_fold(found, fine_ms * steps, fine_ms)}

    def roll(self, glance: Glance) -> bool:
        """Fold what is new into the coarse copies, a day at most; True when there is more."""
        with self._lock:
            return rollups.follow(self._rolled, self._chamber, glance, self._known(glance))

    def _rows(self, tag: str, from_ms: int, to_ms: int) -> tuple[list[Bucket], int]:
        """The finest rows that are few enough, and their step."""
        level = next((one for one in (MINUTE_MS, *LEVELS) if (to_ms - from_ms) // one <= _ROWS_MAX), LEVELS[-1])
        glance = Glance(self._record)
        try:
            columns = self._known(glance)
            if not any(tag in names for names in columns.values()):
                raise StoreError(f"the record has no column {tag}")
            if level == MINUTE_MS:
                return glance.column(columns, tag, from_ms, to_ms), MINUTE_MS
            with self._lock:
                done = rollups.done_ms(self._rolled, self._chamber)
                rows = rollups.buckets(self._rolled, self._chamber, tag, level, from_ms, min(to_ms, done))
            if to_ms > done:
                rows += glance.column(columns, tag, max(from_ms, done), to_ms)
            return rows, level
        finally:
            glance.close()

    def _known(self, glance: Glance) -> dict[int, tuple[str, ...]]:
        newest = max(self._columns, default=0)
        if glance.cycle() > newest:
            self._columns = {**self._columns, **glance.columns(newest)}
        return self._columns


def _fold(rows: list[Bucket], step_ms: int, fine_ms: int) -> dict[str, Any]:
    """Rows put together step by step; one empty point where more than two steps are missing."""
    utc: list[int] = []
    columns: tuple[list[float | None], ...] = ([], [], [])
    bad: list[int] = []
    here: list[Bucket] = []
    begin = 0

    def put() -> None:
        known = [row for row in here if isfinite(row[2])]
        if utc and begin - utc[-1] > 2 * max(step_ms, fine_ms):
            utc.append(utc[-1] + step_ms)
            bad.append(2)
            for column in columns:
                column.append(None)
        utc.append(begin)
        bad.append(max(row[4] for row in here))
        if known:
            values = (
                min(row[1] for row in known), sum(row[2] for row in known) / len(known), max(row[3] for row in known)
            )  # fmt: skip
            for column, value in zip(columns, values, strict=True):
                column.append(clean(value, 3))
        else:
            for column in columns:
                column.append(None)

    for row in rows:
        its = row[0] - row[0] % step_ms
        if here and its != begin:
            put()
            here = []
        begin = its
        here.append(row)
    if here:
        put()
    return {
        "step_ms": step_ms, "utc_ms": utc, "least": columns[0], "mean": columns[1], "greatest": columns[2], "bad": bad,
    }  # fmt: skip
