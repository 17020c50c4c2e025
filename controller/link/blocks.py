"""The requests of one device, and where each of its points stands in them. Pure; all clashes at once.

Words of a device are those of its requests one after the other; bits are packed, the first one least significant.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from controller.core.points import Point, Table, registers_of
from controller.errors import ConfigError, Problem
from controller.link.device import INPUT_HEADER_WORDS, OUTPUT_HEADER_WORDS, Device

READS: Final[dict[Table, int]] = {"coil": 1, "discrete": 2, "holding": 3, "input": 4}
WRITES: Final[dict[Table, int]] = {"coil": 15, "holding": 16}
_TABLES: Final[dict[Table, str]] = {
    "coil": "coils", "discrete": "discrete inputs", "holding": "holding registers", "input": "input registers",
}
BITS: Final = (1, 2, 15)  # functions that count bits
REGISTERS_MAX: Final = 120  # in one request
BITS_MAX: Final = 1920  # as many words


@dataclass(frozen=True, slots=True)
class Block:
    """One request: `count` registers or bits from `base`. offset: of its first word among those of its device."""

    function: int
    base: int
    count: int
    offset: int = 0

    @property
    def words(self) -> int:
        """Words that it fills."""
        return -(-self.count // 16) if self.function in BITS else self.count


@dataclass(frozen=True, slots=True)
class Place:
    """Where a point stands among the words of its device; bit: inside the word, for contacts."""

    word: int
    bit: int = 0


@dataclass(frozen=True, slots=True)
class Blocks:
    """The requests of one device in their order. header_in, header_out: first word of each header, None = none."""

    device: Device
    reads: tuple[Block, ...]
    writes: tuple[Block, ...]
    header_in: int | None
    header_out: int | None

    @property
    def input_count(self) -> int:
        """Words of all reads."""
        return sum(block.words for block in self.reads)

    @property
    def output_count(self) -> int:
        """Words of all writes."""
        return sum(block.words for block in self.writes)

    def place(self, point: Point) -> Place:
        """Where a point of this device stands. KeyError when no request has it."""
        inward = point.kind in ("AI", "DI")
        function = (READS if inward else WRITES)[point.table]
        for block in self.reads if inward else self.writes:
            at = point.address - block.base
            if block.function == function and at >= 0 and at + _size(point) <= block.count:
                if function in BITS:
                    return Place(block.offset + at // 16, at % 16)
                return Place(block.offset + at, point.bit)
        raise KeyError(point.tag)


def is_plain(points: Sequence[Point], device: Device) -> bool:
    """True when two blocks of holding registers with 16-bit words are all there is: the quickest image will do."""
    return not (device.read or device.write or device.settings or device.input.table != "holding") and all(
        point.table == "holding" and registers_of(point) == 1 and (point.type == "uint16" or point.raw_lo < 0)
        for point in points
    )


def plan_blocks(points: Iterable[Point], device: Device) -> Blocks:
    """The requests of `device` for its points. Raises ConfigError with every point that no request has."""
    points = tuple(points)
    inward = [point for point in points if point.kind in ("AI", "DI")]
    outward = [point for point in points if point.kind in ("AO", "DO")]
    heads = _heads(device, bool(outward))
    reads = _placed([(b.function, b.base, b.count) for b in device.read] or _derived(inward, READS, heads[0]))
    asked: list[Head] = [(b.function, b.base, b.count) for b in device.write] or _derived(outward, WRITES, heads[1])
    beat = heads[1]
    asked.sort(key=lambda block: beat is not None and _holds(block, beat))  # stable: the heartbeat comes last
    writes = _placed(asked)
    found = Blocks(device, reads, writes, _header(reads, heads[0]), _header(writes, heads[1]))
    problems = [*_missing(found, points), *_too_long(found), *_on_headers(found, points)]
    problems += [
        _problem(device.name, name, f"{head[1]}", "is in no block of the device file", "add a block, or header = none")
        for name, head, at in (("input.base", heads[0], found.header_in), ("output.base", heads[1], found.header_out))
        if head is not None and at is None
    ]
    if problems:
        raise ConfigError(problems)
    return found


Head = tuple[int, int, int]  # function, base, count


def _heads(device: Device, outputs: bool) -> tuple[Head | None, Head | None]:
    standard_in, standard_out = device.input.header == "standard", device.output.header == "standard" and outputs
    return (
        (READS[device.input.table], device.input.base, INPUT_HEADER_WORDS) if standard_in else None,
        (WRITES["holding"], device.output.base, OUTPUT_HEADER_WORDS) if standard_out else None,
    )


def _derived(points: list[Point], functions: dict[Table, int], head: Head | None) -> list[Head]:
    """One request a table, from its first to its last address in use."""
    spans: dict[int, tuple[int, int]] = {}
    used = [(functions[p.table], p.address, p.address + _size(p)) for p in points if p.table in functions]
    if head is not None:
        used.append((head[0], head[1], head[1] + head[2]))
    for function, first, end in used:
        low, high = spans.get(function, (first, end))
        spans[function] = (min(low, first), max(high, end))
    return [(function, low, high - low) for function, (low, high) in sorted(spans.items())]


def _placed(asked: list[Head]) -> tuple[Block, ...]:
    blocks: list[Block] = []
    offset = 0
    for function, base, count in asked:
        blocks.append(Block(function, base, count, offset))
        offset += blocks[-1].words
    return tuple(blocks)


def _holds(block: Head, head: Head) -> bool:
    return block[0] == head[0] and block[1] <= head[1] and head[1] + head[2] <= block[1] + block[2]


def _header(blocks: tuple[Block, ...], head: Head | None) -> int | None:
    if head is None:
        return None
    holding = [b for b in blocks if _holds((b.function, b.base, b.count), head)]
    return holding[0].offset + head[1] - holding[0].base if holding else None


def _size(point: Point) -> int:
    return 1 if point.kind in ("DI", "DO") else registers_of(point)


def _missing(blocks: Blocks, points: tuple[Point, ...]) -> list[Problem]:
    found = []
    for point in points:
        try:
            blocks.place(point)
        except KeyError:
            limit = f"no request of {blocks.device.name} has it: {_asked(blocks, point)}"
            remedy = "correct it (the first is 0, not 1 or 40001), or list a wider block in the device file"
            found.append(_problem(point.tag, "address", str(point.address), limit, remedy))
    return found


def _asked(blocks: Blocks, point: Point) -> str:
    """What is asked for in the table of this point, in words."""
    inward = point.kind in ("AI", "DI")
    function = (READS if inward else WRITES)[point.table]
    own = [b for b in (blocks.reads if inward else blocks.writes) if b.function == function]
    verb, table = "reads" if inward else "writes", _TABLES[point.table]
    return f"it {verb} {table} " + ", ".join(f"{b.base} to {b.base + b.count - 1}" for b in own) if own else (
        f"it {verb} no {table}"
    )


def _too_long(blocks: Blocks) -> list[Problem]:
    return [
        _problem(
            blocks.device.name,
            f"function {block.function} from {block.base}",
            f"{block.count}",
            f"one request carries at most {BITS_MAX if block.function in BITS else REGISTERS_MAX}",
            "list several shorter blocks under read or write in the device file",
        )
        for block in (*blocks.reads, *blocks.writes)
        if block.count > (BITS_MAX if block.function in BITS else REGISTERS_MAX)
    ]


def _on_headers(blocks: Blocks, points: tuple[Point, ...]) -> list[Problem]:
    """Points that stand where the header is."""
    found = []
    for point in points:
        inward = point.kind in ("AI", "DI")
        head, size = (blocks.header_in, INPUT_HEADER_WORDS) if inward else (blocks.header_out, OUTPUT_HEADER_WORDS)
        if head is None:
            continue
        try:
            word = blocks.place(point).word
        except KeyError:
            continue
        if head <= word < head + size:
            found.append(
                _problem(point.tag, "address", str(point.address), "the header stands there", "move the point")
            )
    return found


def _problem(tag: str, name: str, value: str, limit: str, remedy: str) -> Problem:
    return Problem("point list", f"{tag}.{name}", value, limit, remedy)
