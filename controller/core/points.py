"""The point list: one row a point. What controller and device must both know is this data and nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import Ge, Le

Kind = Literal["AI", "AO", "DI", "DO"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One point of a panel, tagged after ISA-5.1 (M = moisture, by our choice of the free letter).

    address: register address (0-based, as in the frame); bit: bit inside it for DI and DO, 0 = least significant.
    raw_lo, raw_hi: raw words at lo and hi (uA for a 4-20 mA channel, 0.01 % for an output).
    signal: "4-20mA" channels are judged by NE43, "raw" ones only by their range; "contact" for DI and DO.
    rate_per_s_max: a faster change is not physical (0 = not judged).
    normal: for DI the state of a healthy plant, for DO the state in which nothing is asked for.
    safe: for AO (percent) and DO (0 or 1) what the device takes when it hears nothing.
    """

    tag: str
    kind: Kind
    text: str
    device: str
    unit_id: Annotated[int, Ge(0), Le(255)] = 255
    address: Annotated[int, Ge(0), Le(65535)]
    bit: Annotated[int, Ge(0), Le(15)] = 0
    signal: Literal["4-20mA", "raw", "percent", "contact"]
    raw_lo: Annotated[int, Ge(-32768), Le(65535)] = 0
    raw_hi: Annotated[int, Ge(-32768), Le(65535)] = 1
    lo: float = 0.0
    hi: float = 1.0
    unit: str = ""
    rate_per_s_max: Annotated[float, Ge(0)] = 0.0
    normal: Annotated[int, Ge(0), Le(1)] = 0
    safe: float = 0.0


def of_kind(points: tuple[Point, ...], kind: Kind) -> tuple[Point, ...]:
    """The points of one kind, in point-list order: the order of every frame column."""
    return tuple(point for point in points if point.kind == kind)


def index_of(points: tuple[Point, ...], kind: Kind) -> dict[str, int]:
    """Column of each tag of one kind."""
    return {point.tag: column for column, point in enumerate(of_kind(points, kind))}
