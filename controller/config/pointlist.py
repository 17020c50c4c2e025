"""What must hold inside a point list, beyond the bounds of each cell."""

from __future__ import annotations

import re
from collections.abc import Iterable

from controller.core.points import Point
from controller.errors import Problem

_TAG = re.compile(r"[A-Z]{1,5}-\d{1,5}[A-Z]{0,2}$")
_SIGNALS = {"AI": ("4-20mA", "raw"), "AO": ("percent",), "DI": ("contact",), "DO": ("contact",)}


def problems(points: Iterable[Point], file: str) -> list[Problem]:
    """Every clash and every impossible span of a point list, in its order."""
    found: list[Problem] = []
    tags: set[str] = set()
    taken: dict[tuple[str, int, int, int], str] = {}
    for point in points:
        if point.tag in tags:
            found.append(
                Problem(file, f"{point.tag}.tag", point.tag, "the tag stands twice", "give each point its own")
            )
            continue
        tags.add(point.tag)
        found += _odd(point, file)
        bits = (point.bit,) if point.kind in ("DI", "DO") else range(16)
        for bit in bits:
            owner = taken.setdefault((point.device, point.unit_id, point.address, bit), point.tag)
            if owner != point.tag:
                place = f"{point.address}" + (f" bit {bit}" if len(bits) == 1 else "")
                limit = f"{owner} is there already"
                found.append(Problem(file, f"{point.tag}.address", place, limit, "give each point its own place"))
                break
    return found


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
    ]
    if point.kind in ("AI", "AO"):
        rows += [
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
