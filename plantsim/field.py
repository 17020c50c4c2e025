"""Field devices: a panel made of several, each with tables, types and scales of its own, around one chamber.

Behind them stands one RemoteIo. It has the heartbeat, the watchdog and the chamber; a field device translates its
tables into that one's words and back. Only the device that carries the heartbeat moves the chamber; what others are
told waits until it comes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from struct import Struct
from typing import Final, Literal

from plantsim.remote_io import RemoteIo
from plantsim.terminals import FULL_WORD, HEADER_WORDS, OUTPUT_HEADER_WORDS

ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_VALUE, DEVICE_FAILURE = 1, 2, 3, 4
COILS, DISCRETE, HOLDING, INPUT, WRITE_COILS, WRITE_REGISTERS = 1, 2, 3, 4, 15, 16
BROKEN_LOW_UA, BROKEN_HIGH_UA = 3600, 21000  # NAMUR NE 43: currents that mean a broken sensor
LIVE_ZERO_UA, SPAN_UA = 4000, 16000

Type = Literal["uint16", "int16", "int32", "uint32", "float32"]
Read = Callable[[Sequence[int]], int]
_RANGES: Final[dict[Type, tuple[int, int]]] = {
    "uint16": (0, 65535),
    "int16": (-32768, 32767),
    "int32": (-(1 << 31), (1 << 31) - 1),
    "uint32": (0, (1 << 32) - 1),
}
_NAN: Final = 0x7FC00000


class RefusedError(Exception):
    """A request that the device answers with this Modbus exception code."""

    def __init__(self, code: int) -> None:
        super().__init__(f"exception {code}")
        self.code = code


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldPoint:
    """One point of a field device. word, bit: where it stands in the words of the RemoteIo behind (from 0).

    function: 1 to 4, the table it is read from, or 15, 16, the one it is written to. fault: raw number shown for a
    broken sensor (None: a float32 shows NaN, whole numbers their least). Analog inputs are currents behind.
    """

    analog: bool
    function: int
    address: int
    bit: int = 0
    word: int
    behind_bit: int = 0
    type: Type = "uint16"
    low_first: bool = False
    raw_lo: int = 0
    raw_hi: int = 1
    fault: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldSetup:
    """What else a field device has. header_in: (function, base) of the eight header words; header_out: base of
    heartbeat and scan time among the holding registers written. settings: base -> words, registers that are only kept.
    watchdog_register, watchdog_per_s: where its time is set; 0 = off, as it is until somebody sets it.
    rearm_register: whoever writes it ends the state after a trip, in which outputs are refused.
    """

    name: str
    header_in: tuple[int, int] | None = None
    header_out: int | None = None
    settings: Mapping[int, Sequence[int]] | None = None
    watchdog_register: int | None = None
    watchdog_per_s: int = 10
    rearm_register: int | None = None
    connections_max: int = 4


class FieldDevice:
    """One device. read() and write() take a Modbus function, an address and registers or bits; RefusedError says no.

    Not thread-safe by itself: FieldServer keeps one lock around all devices of a panel.
    """

    def __init__(self, io: RemoteIo, points: Iterable[FieldPoint], setup: FieldSetup) -> None:
        self.name, self.setup = setup.name, setup
        self._io = io
        self._cells: dict[tuple[int, int], Read] = {}
        self._flags: dict[tuple[int, int], list[tuple[int, Read]]] = {}
        self._targets: dict[tuple[int, int], list[tuple[int, int, int | None]]] = {}
        self._plans: dict[tuple[int, int, int], tuple[Read, ...]] = {}
        self._kept: dict[int, int] = {}
        self._staged = io.words_out
        self._acknowledged_trips = 0
        for point in points:
            self._add(point)
        self._add_header()
        self._add_settings()

    def read(self, function: int, base: int, count: int, /) -> list[int]:
        """Registers (functions 3 and 4) or bits (1 and 2). Inside the tables in use, gaps read 0."""
        key = (function, base, count)
        plan = self._plans.get(key)
        if plan is None:
            plan = self._plans[key] = self._plan(*key)
        words = self._io.read()
        return [cell(words) for cell in plan]

    def write(self, function: int, base: int, values: Sequence[int], /) -> None:
        """Registers (16) or coils (15). Outputs are in force with the next heartbeat."""
        if function not in (WRITE_COILS, WRITE_REGISTERS):
            raise RefusedError(ILLEGAL_FUNCTION)
        if function == WRITE_REGISTERS and base in self._kept:
            self._set(base, values)
            return
        last = base + len(values) - 1
        if not values or not self._known(function, base) or not self._known(function, last):
            raise RefusedError(ILLEGAL_ADDRESS)
        if self._refuses():
            raise RefusedError(DEVICE_FAILURE)
        staged = self._staged
        for at, value in enumerate(values, start=base):
            for word, mask, bit in self._targets.get((function, at), ()):
                if bit is None:
                    staged[word] = value
                elif value >> bit & 1:
                    staged[word] |= mask
                else:
                    staged[word] &= ~mask
        beat = self.setup.header_out
        if function == WRITE_REGISTERS and beat is not None and base <= beat <= last:
            self._io.write(tuple(staged))

    def _refuses(self) -> bool:
        if self.setup.rearm_register is None:
            return False
        return self._io.tripped and self._io.trips != self._acknowledged_trips

    def _set(self, base: int, values: Sequence[int]) -> None:
        if any(base + n not in self._kept for n in range(len(values))):
            raise RefusedError(ILLEGAL_ADDRESS)
        for at, value in enumerate(values, start=base):
            self._kept[at] = value
            if at == self.setup.watchdog_register:
                time_s = value / self.setup.watchdog_per_s if value else float("inf")
                self._io.device = replace(self._io.device, watchdog_s=time_s)
            if at == self.setup.rearm_register:
                self._acknowledged_trips = self._io.trips

    def _known(self, function: int, address: int) -> bool:
        used = [at for kind, at in self._targets if kind == function]
        return bool(used) and min(used) <= address <= max(used)

    def _plan(self, function: int, base: int, count: int) -> tuple[Read, ...]:
        """A cell for each register or bit that is asked for."""
        if function not in (COILS, DISCRETE, HOLDING, INPUT):
            raise RefusedError(ILLEGAL_FUNCTION)
        cells = {at: cell for (kind, at), cell in self._cells.items() if kind == function}
        for (kind, at), flags in self._flags.items():
            if kind == function:
                cells[at] = _packed(flags) if function in (HOLDING, INPUT) else flags[0][1]
        if function == HOLDING and all(base + n in self._kept for n in range(count)):
            return tuple(_kept(self._kept, base + n) for n in range(count))
        if count < 1 or not cells or base < min(cells) or base + count - 1 > max(cells):
            raise RefusedError(ILLEGAL_ADDRESS)
        return tuple(cells.get(base + n, _nothing) for n in range(count))

    def _add(self, point: FieldPoint) -> None:
        key = (point.function, point.address)
        if point.function in (WRITE_COILS, WRITE_REGISTERS):
            mask, bit = (FULL_WORD, None) if point.analog else (1 << point.behind_bit, point.bit)
            self._targets.setdefault(key, []).append((point.word, mask, bit))
        elif not point.analog:
            self._flags.setdefault(key, []).append((point.bit, _flag(point.word, point.behind_bit)))
        elif point.type in ("uint16", "int16"):
            number = _number(point)
            self._cells[key] = lambda words: number(words[point.word]) & FULL_WORD
        else:
            high, low = (point.address, point.address + 1)
            if point.low_first:
                high, low = low, high
            number = _number(point)
            self._cells[point.function, high] = lambda words: number(words[point.word]) >> 16 & FULL_WORD
            self._cells[point.function, low] = lambda words: number(words[point.word]) & FULL_WORD

    def _add_header(self) -> None:
        setup = self.setup
        if setup.header_in is not None:
            function, base = setup.header_in
            for n in range(HEADER_WORDS):
                self._cells[function, base + n] = _word(n)
        if setup.header_out is not None:
            for n in range(OUTPUT_HEADER_WORDS):
                self._targets[WRITE_REGISTERS, setup.header_out + n] = [(n, FULL_WORD, None)]

    def _add_settings(self) -> None:
        for base, words in (self.setup.settings or {}).items():
            self._kept.update({base + n: 0 for n in range(len(words))})
        if self.setup.rearm_register is not None:
            self._kept[self.setup.rearm_register] = 0
        if self.setup.watchdog_register is not None:
            self._kept[self.setup.watchdog_register] = 0
            self._io.device = replace(self._io.device, watchdog_s=float("inf"))


def _number(point: FieldPoint) -> Callable[[int], int]:
    """From a current to the raw number as it stands in the registers (a float32 as its 32 bits)."""
    lo, span = point.raw_lo, point.raw_hi - point.raw_lo
    if point.type == "float32":
        return lambda current: _float_bits(lo + (current - LIVE_ZERO_UA) / SPAN_UA * span, current)
    least, most = _RANGES[point.type]
    fault = least if point.fault is None else point.fault

    def number(current: int) -> int:
        # A channel that counts microamps itself has no code for a broken sensor: it shows the current.
        if not BROKEN_LOW_UA < current < BROKEN_HIGH_UA and (lo, span) != (LIVE_ZERO_UA, SPAN_UA):
            return fault
        return min(most, max(least, round(lo + (current - LIVE_ZERO_UA) / SPAN_UA * span)))

    return number


_FLOAT, _LONG = Struct(">f"), Struct(">I")


def _float_bits(value: float, current: int) -> int:
    if not BROKEN_LOW_UA < current < BROKEN_HIGH_UA:
        return _NAN
    bits: int = _LONG.unpack(_FLOAT.pack(value))[0]
    return bits


def _flag(word: int, bit: int) -> Read:
    return lambda words: words[word] >> bit & 1


def _packed(flags: list[tuple[int, Read]]) -> Read:
    return lambda words: sum(flag(words) << bit for bit, flag in flags)


def _word(number: int) -> Read:
    return lambda words: words[number]


def _kept(kept: Mapping[int, int], address: int) -> Read:
    return lambda _: kept[address]


def _nothing(_: Sequence[int]) -> int:
    return 0
