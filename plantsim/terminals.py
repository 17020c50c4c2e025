"""The terminals of the simulated panel: which register and bit carries which signal of the chamber model.

Everything is checked and precomputed here once, so that a scan of the device only gathers and packs.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, fields
from operator import itemgetter
from typing import Any, Literal

from plantsim.params import PlantParams

HEADER_WORDS = 8
OUTPUT_HEADER_WORDS = 2
BITS = 16
FULL_WORD = 0xFFFF
IMAGE_WORDS_MAX = 120  # one request carries a whole image: 121 words written is the limit of function 17h


@dataclass(frozen=True, slots=True)
class Terminal:
    """One terminal of the panel. raw_lo, raw_hi: words at lo and hi (uA or 0.01 %); safe: value without a master.

    address: 0-based register; bit: 0 = least significant, for DI and DO.
    """

    tag: str
    kind: Literal["AI", "DI", "AO", "DO"]
    address: int
    bit: int = 0
    raw_lo: int = 0
    raw_hi: int = 1
    lo: float = 0.0
    hi: float = 1.0
    safe: float = 0.0


@dataclass(frozen=True, slots=True)
class DeviceMap:
    """Where the blocks of the device lie (holding registers, 0-based) and how long it waits for its master."""

    input_base: int
    input_count: int
    output_base: int
    output_count: int
    signature: int
    map_version: int
    watchdog_s: float


@dataclass(frozen=True, slots=True)
class Wiring:
    """Which tag is connected to what in the chamber model.

    probes: tag of each entry of chamber.microamps, in its order.
    contacts: tag -> key of chamber.contacts.
    actuators: tag of each entry of what chamber.step() takes, in its order; "" is not connected and stays 0.
    """

    probes: Sequence[str]
    contacts: Mapping[str, Hashable]
    actuators: Sequence[str]


@dataclass(frozen=True, slots=True)
class Bound:
    """Terminals bound to a wiring. Positions are relative to the start of their block.

    analog: (first word, one past the last, getter from microamps to these words) per unbroken run.
    contacts: getter from chamber.contacts to a tuple of states; masks: word position and bit value of each.
    safe: the output words after the header when there is no master.
    bits: (entry of what step() takes, word, mask); bit_words: the words they stand in.
    scales: (entry, word, raw_lo, gain, lo, hi).
    """

    analog: tuple[tuple[int, int, Callable[[Any], Sequence[int]]], ...]
    contacts: Callable[[Any], tuple[bool, ...]]
    masks: tuple[tuple[int, int], ...]
    contact_words: tuple[int, ...]
    safe: tuple[int, ...]
    bits: tuple[tuple[int, int, int], ...]
    bit_words: tuple[int, ...]
    scales: tuple[tuple[int, int, int, float, float, float], ...]


def wiring_of(params: PlantParams) -> Wiring:
    """How a chamber model with these parameters is wired: its probes, contacts and actuators by tag."""
    actuators = [str(getattr(params.actuators, output.name)) for output in fields(params.actuators)]
    return Wiring([probe.tag for probe in params.probe], dict(params.contacts), actuators)


def bind(terminals: Sequence[Terminal], device: DeviceMap, wiring: Wiring) -> Bound:
    """Check terminals against device and wiring and precompute. ValueError names every fault found."""
    faults = list(_faults(terminals, device, wiring))
    if faults:
        raise ValueError("the terminals do not fit the device:\n" + "\n".join(faults))
    by_kind = {kind: [t for t in terminals if t.kind == kind] for kind in ("AI", "DI", "AO", "DO")}
    by_tag = {t.tag: t for t in terminals}
    contacts = by_kind["DI"]
    base = device.output_base
    driven = [(n, by_tag[tag]) for n, tag in enumerate(wiring.actuators) if tag]
    masks = tuple((t.address - device.input_base, 1 << t.bit) for t in contacts)
    return Bound(
        analog=_runs(by_kind["AI"], device.input_base, wiring),
        contacts=_getter([wiring.contacts[t.tag] for t in contacts]),
        masks=masks,
        contact_words=tuple(sorted({word for word, _ in masks})),
        safe=_safe_words([*by_kind["AO"], *by_kind["DO"]], device),
        bits=tuple((n, t.address - base, 1 << t.bit) for n, t in driven if t.kind == "DO"),
        bit_words=tuple(sorted({t.address - base for _, t in driven if t.kind == "DO"})),
        scales=tuple(
            (n, t.address - base, t.raw_lo, (t.hi - t.lo) / (t.raw_hi - t.raw_lo), t.lo, t.hi)
            for n, t in driven
            if t.kind == "AO"
        ),
    )


def _faults(terminals: Sequence[Terminal], device: DeviceMap, wiring: Wiring) -> list[str]:
    faults = _block_faults(device)
    used: dict[tuple[int, int], str] = {}
    probes, actuators = set(wiring.probes), set(wiring.actuators) - {""}
    for t in terminals:
        inward = t.kind in ("AI", "DI")
        first = device.input_base + HEADER_WORDS if inward else device.output_base + OUTPUT_HEADER_WORDS
        end = device.input_base + device.input_count if inward else device.output_base + device.output_count
        if not first <= t.address < end:
            faults.append(f"{t.tag}: register {t.address} is outside {first}..{end - 1}")
        bits = range(BITS) if t.kind in ("AI", "AO") else (t.bit,)
        for bit in bits:
            other = used.setdefault((t.address, bit), t.tag)
            if other != t.tag:
                faults.append(f"{t.tag}: register {t.address} bit {bit} belongs to {other} already")
                break
        if t.kind == "AI" and t.tag not in probes:
            faults.append(f"{t.tag}: no probe of the chamber model has this tag")
        if t.kind == "DI" and t.tag not in wiring.contacts:
            faults.append(f"{t.tag}: no contact of the chamber model has this tag")
        if t.kind == "AI" and (t.raw_lo, t.raw_hi) != (4000, 20000):
            faults.append(f"{t.tag}: raw span {t.raw_lo}..{t.raw_hi}; the card counts microamps, 4000..20000")
        if t.raw_lo == t.raw_hi or t.lo >= t.hi:
            faults.append(f"{t.tag}: its span is empty")
    tags = {t.tag for t in terminals if t.kind in ("AO", "DO")}
    faults += [f"{tag}: an actuator of the chamber model without a terminal" for tag in sorted(actuators - tags)]
    return faults


def _block_faults(device: DeviceMap) -> list[str]:
    faults: list[str] = []
    blocks = (
        ("input", device.input_base, device.input_count, HEADER_WORDS),
        ("output", device.output_base, device.output_count, OUTPUT_HEADER_WORDS),
    )
    for name, base, count, header in blocks:
        if not header <= count <= IMAGE_WORDS_MAX or not 0 <= base <= FULL_WORD + 1 - count:
            faults.append(f"{name} block {base}+{count}: {header}..{IMAGE_WORDS_MAX} words inside 0..65535")
    (_, a, a_count, _), (_, b, b_count, _) = blocks
    if a < b + b_count and b < a + a_count:
        faults.append(f"input block {a}+{a_count} and output block {b}+{b_count} overlap")
    return faults


def _runs(
    inputs: Sequence[Terminal], base: int, wiring: Wiring
) -> tuple[tuple[int, int, Callable[[Any], Sequence[int]]], ...]:
    column = {tag: i for i, tag in enumerate(wiring.probes)}
    ordered = sorted(inputs, key=lambda t: t.address)
    runs: list[list[Terminal]] = []
    for t in ordered:
        if runs and runs[-1][-1].address + 1 == t.address:
            runs[-1].append(t)
        else:
            runs.append([t])
    return tuple(
        (run[0].address - base, run[-1].address - base + 1, _columns([column[t.tag] for t in run], len(column)))
        for run in runs
    )


def _columns(columns: Sequence[int], probes: int) -> Callable[[Any], Sequence[int]]:
    """Getter of some columns of the currents; where registers and probes have one order there is nothing to get."""
    if list(columns) == list(range(probes)):
        return lambda microamps: microamps
    return _getter(columns)


def _getter(keys: Sequence[Hashable]) -> Callable[[Any], tuple[Any, ...]]:
    """itemgetter that gives a tuple for one key and for none too."""
    if not keys:
        return lambda _: ()
    if len(keys) == 1:
        only = keys[0]
        return lambda source: (source[only],)
    return itemgetter(*keys)


def _safe_words(outputs: Sequence[Terminal], device: DeviceMap) -> tuple[int, ...]:
    words = [0] * (device.output_count - OUTPUT_HEADER_WORDS)
    for t in outputs:
        at = t.address - device.output_base - OUTPUT_HEADER_WORDS
        if t.kind == "DO":
            words[at] |= (1 << t.bit) if t.safe else 0
        else:
            words[at] = round(t.raw_lo + (t.safe - t.lo) * (t.raw_hi - t.raw_lo) / (t.hi - t.lo)) & FULL_WORD
    return tuple(words)
