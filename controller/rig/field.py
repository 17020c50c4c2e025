"""A simulated panel of several devices, wired after the controller's point list and device files."""

from __future__ import annotations

from controller.core.points import Point, faults_of, of_kind
from controller.link.blocks import READS, WRITES, plan_blocks
from controller.link.device import Device
from plantsim.field import FieldDevice, FieldPoint, FieldSetup
from plantsim.remote_io import DeviceMap, RemoteIo, Terminal
from plantsim.terminals import BITS, HEADER_WORDS, OUTPUT_HEADER_WORDS

_OUTPUT_BASE = 256  # of the words behind, which nobody outside sees
_LIVE_ZERO_UA, _FULL_UA = 4000, 20000


def behind(points: tuple[Point, ...], devices: tuple[Device, ...]) -> tuple[tuple[Terminal, ...], DeviceMap]:
    """Terminals and map of the one device behind all: every point in order, currents and packed contacts."""
    terminals = []
    for point in points:
        word, bit = _places(points)[point.tag]
        base = 0 if point.kind in ("AI", "DI") else _OUTPUT_BASE
        raw = (_LIVE_ZERO_UA, _FULL_UA) if point.kind == "AI" else (point.raw_lo, point.raw_hi)
        terminals.append(
            Terminal(point.tag, point.kind, base + word, bit, *raw, point.lo, point.hi, point.safe)
        )
    heads = [device for device in devices if device.input.header == "standard"]
    guard = next((device.watchdog for device in devices if device.watchdog is not None), None)
    counts = {
        inward: max((t.address for t in terminals if (t.kind in ("AI", "DI")) == inward), default=0) + 1
        for inward in (True, False)
    }
    return tuple(terminals), DeviceMap(
        input_base=0,
        input_count=max(HEADER_WORDS, counts[True]),
        output_base=_OUTPUT_BASE,
        output_count=max(OUTPUT_HEADER_WORDS, counts[False] - _OUTPUT_BASE),
        signature=(heads[0].input.signature or 0) if heads else 0,
        map_version=(heads[0].input.map_version or 0) if heads else 0,
        watchdog_s=guard.time_s if guard is not None else 10.0,
    )


def field_devices(io: RemoteIo, points: tuple[Point, ...], devices: tuple[Device, ...]) -> tuple[FieldDevice, ...]:
    """The devices that the controller's files describe, around what stands behind them."""
    places = _places(points)
    made = []
    for device in devices:
        mine = [point for point in points if point.device == device.name]
        setup = _setup(device, any(point.kind in ("AO", "DO") for point in mine))
        plan_blocks(mine, device)  # ConfigError before anything is served that cannot be asked for
        made.append(FieldDevice(io, [_field_point(point, *places[point.tag]) for point in mine], setup))
    return tuple(made)


def _setup(device: Device, outputs: bool) -> FieldSetup:
    head, guard = device.input, device.watchdog
    return FieldSetup(
        name=device.name,
        header_in=(READS[head.table], head.base) if head.header == "standard" else None,
        header_out=device.output.base if outputs and device.output.header == "standard" else None,
        settings={setting.base: setting.values for setting in device.settings},
        watchdog_register=guard.register if guard is not None else None,
        watchdog_per_s=guard.per_s if guard is not None else 10,
        rearm_register=guard.rearm_register if guard is not None else None,
        connections_max=device.connections_max,
    )


def _field_point(point: Point, word: int, bit: int) -> FieldPoint:
    outward = point.kind in ("AO", "DO")
    return FieldPoint(
        analog=point.kind in ("AI", "AO"),
        function=(WRITES if outward else READS)[point.table],
        address=point.address,
        bit=0 if point.table in ("coil", "discrete") else point.bit,
        word=word,
        behind_bit=bit,
        type=point.type,
        low_first=point.word_order == "low-first",
        raw_lo=point.raw_lo,
        raw_hi=point.raw_hi,
        fault=min(faults_of(point), default=None),
    )


def _places(points: tuple[Point, ...]) -> dict[str, tuple[int, int]]:
    """(word, bit) of each point in the words behind: after the header, numbers first, then packed contacts."""
    places: dict[str, tuple[int, int]] = {}
    for numbers, contacts, first in (("AI", "DI", HEADER_WORDS), ("AO", "DO", OUTPUT_HEADER_WORDS)):
        analog = of_kind(points, numbers)  # type: ignore[arg-type]
        places |= {point.tag: (first + n, 0) for n, point in enumerate(analog)}
        first += len(analog)
        packed = of_kind(points, contacts)  # type: ignore[arg-type]
        places |= {point.tag: (first + n // BITS, n % BITS) for n, point in enumerate(packed)}
    return places
