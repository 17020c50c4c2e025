"""Trends for a plot: few enough points for a small file, gaps left open, and no peak lost."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import accumulate
from typing import NamedTuple

from controller.report.kpis import known, largest, mean, smallest
from controller.store.reader import MinuteRow

POINTS_MAX = 480
MINUTE_MS = 60_000


class Trend(NamedTuple):
    """One column over time: hours after the start; least, mean and greatest in each step. NaN = not known."""

    hours: list[float]
    least: list[float]
    mean: list[float]
    greatest: list[float]


def trend(rows: Sequence[MinuteRow], began_ms: int, points: int = POINTS_MAX) -> Trend:
    """Minutes folded to at most about `points` steps; where minutes are missing the line is broken."""
    minutes = (rows[-1].utc_ms - rows[0].utc_ms) // MINUTE_MS + 1 if rows else 0
    step_ms = MINUTE_MS * max(1, math.ceil(minutes / points))
    found = Trend([], [], [], [])
    here: list[MinuteRow] = []
    for row in rows:
        if here and row.utc_ms >= here[0].utc_ms + step_ms:
            _fold(found, here, began_ms)
            if row.utc_ms - here[-1].utc_ms > 1.5 * MINUTE_MS:  # no controller, or none that recorded
                _put(found, (here[-1].utc_ms + MINUTE_MS - began_ms) / 3_600_000.0, math.nan, math.nan, math.nan)
            here = []
        here.append(row)
    if here:
        _fold(found, here, began_ms)
    return found


def running_total(rows: Sequence[MinuteRow], began_ms: int) -> Trend:
    """Integral over time of a power or a flow: kW become kWh, kg/h become kg. What is not known adds nothing."""
    totals = accumulate((row.mean if row.mean == row.mean else 0.0) / 60.0 for row in rows)
    pairs = zip(rows, totals, strict=True)
    summed = [MinuteRow(row.utc_ms + MINUTE_MS, total, total, total, 0) for row, total in pairs]
    return trend(summed, began_ms)


def _fold(found: Trend, rows: list[MinuteRow], began_ms: int) -> None:
    middle_ms = 0.5 * (rows[0].utc_ms + rows[-1].utc_ms + MINUTE_MS)
    _put(
        found,
        (middle_ms - began_ms) / 3_600_000.0,
        smallest([row.least for row in rows]),
        mean(known([row.mean for row in rows])),
        largest([row.greatest for row in rows]),
    )


def _put(found: Trend, hours: float, least: float, middle: float, greatest: float) -> None:
    for column, value in zip(found, (hours, least, middle, greatest), strict=True):
        column.append(value)
