"""What must hold inside a point list, beyond the bounds of each cell."""

from __future__ import annotations

import re
from collections.abc import Iterable

from controller.core.points import RANGES, Point, faults_of, registers_of
from controller.errors import Problem

_TAG = re.compile(r"[A-Z]{1,5}-\d{1,5}[A-Z]{0,2}$")
_SIGNALS = {"AI": ("4-20mA", "raw"), "AO": ("percent",), "DI": ("contact",), "DO": ("contact",)}
_TABLES = {
    "AI": ("holding", "input"),
    "AO": ("holding",),
    "DI": ("holding", "input", "coil", "discrete"),
    "DO": ("holding", "coil"),
}


def problems(points: Iterable[Point], file: str) -> list[Problem]:
    """Every clash and every impossible span of a point list, in its order."""
    found: list[Problem] = []
    tags: set[str] = set()
    taken: dict[tuple[str, int, str, int, int], str] = {}
    for point in points:
        if point.tag in tags:
            found.append(
                Problem(file, f"{point.tag}.tag", point.tag, "the tag stands twice", "give each point its own")
            )
            continue
        tags.add(point.tag)
        found += _odd(point, file)
        for address, bit in _places(point):
            owner = taken.setdefault((point.device, point.unit_id, point.table, address, bit), point.tag)
            if owner != point.tag:
                place = f"{address}" + (f" bit {bit}" if point.kind in ("DI", "DO") else "")
                limit = f"{owner} is there already"
                found.append(Problem(file, f"{point.tag}.address", place, limit, "give each point its own place"))
                break
    return found


def _places(point: Point) -> list[tuple[int, int]]:
    """(address, bit) of every bit that it fills."""
    if point.kind in ("DI", "DO"):
        return [(point.address, point.bit)]
    return [(point.address + more, bit) for more in range(registers_of(point)) for bit in range(16)]


def _odd(point: Point, file: str) -> list[Problem]:
    """What is wrong with one point by itself."""
    rows: list[tuple[bool, str, object, str, str]] = [
        (
            not _TAG.match(point.tag),
            "tag",
            point.tag,
            "must be capital letters, -, digits and perhaps a letter",
            "write it like TT-101A",
        ),
        (
            point.signal not in _SIGNALS[point.kind],
            "signal",
            point.signal,
            f"must be {' or '.join(_SIGNALS[point.kind])} for {point.kind}",
            "correct the signal or the kind",
        ),
        *_odd_table(point),
    ]
    if point.kind in ("AI", "AO"):
        rows += [
            *_odd_type(point),
            (
                point.raw_lo == point.raw_hi,
                "raw_hi",
                point.raw_hi,
                f"must differ from raw_lo = {point.raw_lo}",
                "give the raw span",
            ),
            (
                not point.lo < point.hi,
                "hi",
                f"{point.hi:g}",
                f"must be above lo = {point.lo:g}",
                "swap or change the two",
            ),
        ]
    if point.kind in ("AO", "DO"):
        lo, hi = (point.lo, point.hi) if point.kind == "AO" else (0.0, 1.0)
        fits = lo <= point.safe <= hi if point.kind == "AO" else point.safe in (0.0, 1.0)
        limit = f"must be from {lo:g} to {hi:g}" if point.kind == "AO" else "must be 0 or 1"
        remedy = "give what the device takes when it hears nothing"
        rows.append((not fits, "safe", f"{point.safe:g}", limit, remedy))
    return [
        Problem(file, f"{point.tag}.{name}", str(value), limit, remedy)
        for wrong, name, value, limit, remedy in rows
        if wrong
    ]


def _odd_table(point: Point) -> list[tuple[bool, str, object, str, str]]:
    """Rows of what its table does not allow."""
    return [
        (
            point.table not in _TABLES[point.kind],
            "table",
            point.table,
            f"must be {' or '.join(_TABLES[point.kind])} for {point.kind}",
            "correct the table or the kind",
        ),
        (
            point.table in ("coil", "discrete") and point.bit != 0,
            "bit",
            point.bit,
            f"must be 0: a {point.table} has no bits",
            "give its number as the address",
        ),
    ]


def _odd_type(point: Point) -> list[tuple[bool, str, object, str, str]]:
    """Rows of what its type does not allow."""
    least, most = RANGES[point.type]
    within = f"{point.type} goes from {least:g} to {most:g}"
    remedy = "choose another type or correct the raw span"
    return [
        (not least <= point.raw_lo <= most, "raw_lo", point.raw_lo, within, remedy),
        (not least <= point.raw_hi <= most, "raw_hi", point.raw_hi, within, remedy),
        (
            point.kind == "AO" and registers_of(point) > 1,
            "type",
            point.type,
            "outputs are int16 or uint16",
            "scale the output to a single register",
        ),
        (
            point.signal == "4-20mA" and point.type != "uint16",
            "type",
            point.type,
            "4-20mA is judged in microamps, a uint16",
            'use signal "raw" for other counts',
        ),
        (
            point.signal == "4-20mA" and point.raw_lo != point.raw_hi and {point.raw_lo, point.raw_hi} != {4000, 20000},
            "raw_lo",
            f"{point.raw_lo}, raw_hi = {point.raw_hi}",
            "must be 4000 and 20000 uA for 4-20mA",
            'correct the span, or use signal "raw" for other counts',
        ),
        (not _whole_codes(point), "fault_codes", point.fault_codes, "must be whole numbers", 'write "32767 0x8000"'),
    ]


def _whole_codes(point: Point) -> bool:
    try:
        faults_of(point)
    except ValueError:
        return False
    return True
