"""The point list: one row a point. What controller and device must both know is this data and nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final, Literal

from annotated_types import Ge, Le

Kind = Literal["AI", "AO", "DI", "DO"]
Table = Literal["holding", "input", "coil", "discrete"]
Type = Literal["uint16", "int16", "int32", "uint32", "float32"]
WordOrder = Literal["high-first", "low-first"]

# Least and largest raw number of each type. A float32 is bounded only so that its span can be compared.
RANGES: Final[dict[Type, tuple[float, float]]] = {
    "uint16": (0, 65535),
    "int16": (-32768, 32767),
    "int32": (-(1 << 31), (1 << 31) - 1),
    "uint32": (0, (1 << 32) - 1),
    "float32": (-3.4e38, 3.4e38),
}
NO_NUMBER: Final = -1e39  # raw value of a float32 that is none (NaN, infinity): no float32 reaches it


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One point of a panel, tagged after ISA-5.1 (M = moisture, by our choice of the free letter).

    table: where its address counts: holding or input registers, coils or discrete inputs.
    address: of its register, coil or discrete input (0-based, as in the frame); bit: bit inside a register for DI and
    DO, 0 = least significant.
    type: of the raw number; 32-bit ones fill two registers from address, in word_order (high-first = ABCD).
    fault_codes: raw words that mean a broken sensor, blanks between ("32767 0x8000").
    raw_lo, raw_hi: raw numbers at lo and hi (uA for a 4-20 mA channel, 0.01 % for an output).
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
    raw_lo: Annotated[int, Ge(-2147483648), Le(4294967295)] = 0
    raw_hi: Annotated[int, Ge(-2147483648), Le(4294967295)] = 1
    lo: float = 0.0
    hi: float = 1.0
    unit: str = ""
    rate_per_s_max: Annotated[float, Ge(0)] = 0.0
    normal: Annotated[int, Ge(0), Le(1)] = 0
    safe: float = 0.0
    table: Table = "holding"
    type: Type = "uint16"
    word_order: WordOrder = "high-first"
    fault_codes: str = ""


def of_kind(points: tuple[Point, ...], kind: Kind) -> tuple[Point, ...]:
    """The points of one kind, in point-list order: the order of every frame column."""
    return tuple(point for point in points if point.kind == kind)


def index_of(points: tuple[Point, ...], kind: Kind) -> dict[str, int]:
    """Column of each tag of one kind."""
    return {point.tag: column for column, point in enumerate(of_kind(points, kind))}


def registers_of(point: Point) -> int:
    """How many registers its raw number fills: 1 or 2."""
    return 1 if point.type in ("uint16", "int16") else 2


def faults_of(point: Point) -> frozenset[int]:
    """Its fault codes as raw numbers of its type: 0x8000 of an int16 is -32768. ValueError for what is no number."""
    codes = [int(code, 0) for code in point.fault_codes.split()]
    bits = {"int16": 16, "int32": 32}.get(point.type)
    if bits is not None:
        codes = [code - (1 << bits) if code >= 1 << (bits - 1) else code for code in codes]
    return frozenset(codes)
