"""What the bench compares with what: targets, rows, and when a row holds. No measuring in here."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

HOLD_LEAST_H = 4.0  # a hold shorter than this proves nothing about holding


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What a row should reach. must, dream: None where nothing is asked. at_least: a higher value is the better.

    per_s: how many of its unit are a second, for times; such a row gets a ratio to the calibration loop.
    of_hold: the figure is taken over the hold and fails with it.
    """

    name: str
    unit: str = ""
    must: float | None = None
    dream: float | None = None
    at_least: bool = False
    per_s: float | None = None
    of_hold: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A figure as it was measured. floor: what could at best be reached, measured in the same run.

    skipped: it could not be taken here, and that is no fault of what is measured; note says why.
    """

    value: float | None
    floor: float | None = None
    note: str = ""
    skipped: bool = False


Found = Mapping[str, Measured]  # by the name of the row


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A figure beside what it should be. ratio: value over the calibration loop, comparable between machines."""

    name: str
    value: float | None
    unit: str
    must: float | None
    dream: float | None
    floor: float | None
    ratio: float | None
    holds: bool
    at_least: bool
    note: str


def judge(target: Target, measured: Measured, calibration_s: float | None = None, hold_h: float | None = None) -> Row:
    """One row. A figure that could not be taken misses its must, unless it was skipped; hold_h None = the row knows no
    hold."""
    value = measured.value
    if value is not None and not math.isfinite(value):
        value = None
    reached = value is not None and target.must is not None and reaches(value, target.must, at_least=target.at_least)
    holds = target.must is None or measured.skipped or reached
    note = measured.note
    if target.of_hold and hold_h is not None and hold_h < HOLD_LEAST_H:
        holds = False
        note = f"hold of {hold_h:.1f} h, at least {HOLD_LEAST_H:g} h are needed" + (f"; {note}" if note else "")
    timed = target.per_s is not None and calibration_s and value is not None
    return Row(
        name=target.name,
        value=value,
        unit=target.unit,
        must=target.must,
        dream=target.dream,
        floor=measured.floor,
        ratio=value / (target.per_s or 1.0) / (calibration_s or 1.0) if timed and value is not None else None,
        holds=holds,
        at_least=target.at_least,
        note=note,
    )


def reaches(value: float, asked: float, *, at_least: bool) -> bool:
    """Whether a value is at least, or at most, what was asked."""
    return value >= asked if at_least else value <= asked


def chosen(targets: Iterable[Target], part: str) -> list[Target]:
    """Targets whose name contains `part`, in whatever case; all for an empty one."""
    return [target for target in targets if part.casefold() in target.name.casefold()]


def as_json(rows: Iterable[Row], calibration_s: float) -> dict[str, Any]:
    """The content of `bench --json`."""
    listed = [asdict(row) for row in rows]
    return {"rows": listed, "calibration_s": calibration_s, "holds": all(row["holds"] for row in listed)}


def table(rows: Iterable[Row]) -> str:
    """Rows as text: name, value, must, dream, floor, ratio, whether it holds, note."""
    lines: list[tuple[str, ...]] = [("what", "value", "must", "dream", "floor", "ratio", "", "")]
    for row in rows:
        sign = "" if (row.must is None or row.value is None) and row.holds else ("ok" if row.holds else "NO")
        if sign == "ok" and row.dream is not None and row.value is not None:
            sign = "ok +" if reaches(row.value, row.dream, at_least=row.at_least) else "ok"
        limit = ">= " if row.at_least else "<= "
        asked = [limit + _figure(x) if x is not None else "" for x in (row.must, row.dream)]
        value = f"{_figure(row.value)} {row.unit}".rstrip()
        lines.append((row.name, value, *asked, _figure(row.floor, ""), _figure(row.ratio, ""), sign, row.note))
    widths = [max(len(line[column]) for line in lines) for column in range(7)]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line[:7], widths, strict=True)) + f"  {line[7]}".rstrip()
        for line in lines
    )


def _figure(value: float | None, without: str = "not known") -> str:
    return without if value is None else f"{value:.4g}"
