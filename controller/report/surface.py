"""Which watched surface limited the dew margin, worked out from the minutes of a record."""

from __future__ import annotations

from itertools import groupby
from math import isnan
from typing import NamedTuple

from controller.report.recorded import Recorded

SAME_K = 0.02  # minutes are means: the coldest surface of the minute is known no better than this


class Stretch(NamedTuple):
    """A time over which the same surface was the coldest; hours after the start."""

    from_h: float
    to_h: float
    surface: str


def limiting(recorded: Recorded) -> list[Stretch]:
    """The coldest watched surface over time. Where no probe explains it, it is a board that is estimated.

    Empty when the chamber file in the record cannot be read.
    """
    if recorded.chamber is None:
        return []
    climate = recorded.chamber.climate
    probes = {board.tag: f"board bay {board.bay} level {board.level}" for board in climate.boards}
    probes |= {frame.tag: f"door frame bay {frame.bay}" for frame in climate.frames}
    probes |= {climate.ceiling: "ceiling"}
    read = {board.bay for board in climate.boards}
    unread = ", ".join(str(bay) for bay in range(1, recorded.chamber.bays + 1) if bay not in read)
    estimated = f"a board without a probe (bay {unread}), estimated" if unread else "estimated from the coldest air"
    measured = {name: {row.utc_ms: row.mean for row in recorded.minutes(tag)} for tag, name in probes.items()}
    named = []
    for row in recorded.minutes("TY-105"):
        if isnan(row.mean):
            continue
        known = [(found[row.utc_ms], name) for name, found in measured.items() if not isnan(found[row.utc_ms])]
        value, name = min(known, default=(float("inf"), ""))
        named.append((row.utc_ms, name if value <= row.mean + SAME_K else estimated))
    found = []
    for name, group in groupby(named, key=lambda pair: pair[1]):
        times = [utc_ms for utc_ms, _name in group]
        found.append(Stretch(recorded.hours(times[0]), recorded.hours(times[-1] + 60_000), name))
    return found


def shares(stretches: list[Stretch]) -> list[tuple[str, float]]:
    """Each surface with the share of the time in percent in which it was the coldest, most first."""
    total = sum(stretch.to_h - stretch.from_h for stretch in stretches)
    names = dict.fromkeys(stretch.surface for stretch in stretches)
    hours = {name: sum(s.to_h - s.from_h for s in stretches if s.surface == name) for name in names}
    return sorted(((name, 100.0 * value / total) for name, value in hours.items()), key=lambda pair: -pair[1])
