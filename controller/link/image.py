"""The image: words of one device <-> inputs and outputs of a scan. Pure; checked word by word.

Input block: signature, map version, scan counter (high word first), status bits (0 watchdog tripped, 1 fault,
2 simulated), heartbeat last accepted, stale blocks dropped, watchdog trips; then the points at their addresses.
Output block: heartbeat, scan time in ms; then the points at their addresses.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache, partial
from operator import itemgetter
from struct import Struct, error
from typing import Any

from controller.core.frames import Outputs, RawInputs
from controller.core.points import Point, of_kind
from controller.core.quick import maker
from controller.errors import LinkError
from controller.link.blocks import Place
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.link.pulse import coil_of

_raw = maker(RawInputs)


class Image:
    """Where every point of one device stands. Built once; `decode` and `encode` keep nothing between calls.

    input_count, output_count: words of the two blocks, header included.
    Raises ConfigError with every clash of addresses at once.
    """

    def __init__(self, points: tuple[Point, ...], device: Device) -> None:
        layout = require_layout(points, device)
        self.device = device
        self.input_count = layout.input_count
        self.output_count = layout.output_count
        self.where = f"{device.name} at {device.host}:{device.port}"
        base = device.input.base
        analog, contacts = of_kind(points, "AI"), of_kind(points, "DI")
        self._standard = device.input.header == "standard"
        self.heartbeat_word = 0 if self._standard and device.output.header == "standard" else None
        self._signature, self._map_version = device.input.signature, device.input.map_version
        self._pack_inputs = Struct(f">{self.input_count}H").pack
        self._analog = _picker(tuple(point.address - base for point in analog))
        self._signed = tuple(column for column, point in enumerate(analog) if point.raw_lo < 0)
        self._contacts = _picker(tuple(sorted({point.address - base for point in contacts})))
        # Contacts seldom change: unpacking is remembered per combination of words, and stays a pure function.
        self._unpack = lru_cache(maxsize=256)(partial(_unpack, _masks(contacts)))
        self._bind_outputs(points)

    def _bind_outputs(self, points: tuple[Point, ...]) -> None:
        base = self.device.output.base
        self._beats = self.device.output.header == "standard"
        self._outputs = of_kind(points, "AO")
        self._spans = tuple(
            (
                column,
                point.address - base,
                point.lo,
                (point.raw_hi - point.raw_lo) / (point.hi - point.lo),
                point.raw_lo,
                min(point.raw_lo, point.raw_hi),
                max(point.raw_lo, point.raw_hi),
            )
            for column, point in enumerate(self._outputs)
        )
        coils = tuple((point.address - base, 1 << point.bit) for point in of_kind(points, "DO"))
        self._pack = lru_cache(maxsize=256)(partial(_pack, coils))
        # Outputs seldom change: their words are remembered per combination, and stay a pure function.
        self._block = lru_cache(maxsize=256)(self._words_of)
        self._pulse = coil_of(points, self.device, lambda point: Place(point.address - base, point.bit))

    def decode(self, words: Sequence[int], age_scans: int = 0) -> RawInputs:
        """Inputs of one scan. words: (input_count,) 0..65535. age_scans: how old these words are.

        Raises LinkError: "bad-words" (count, or not 16 bits), "wrong-signature", "wrong-map-version".
        """
        try:
            self._pack_inputs(*words)  # one call that refuses a wrong count, negatives, > 65535 and non-integers
        except error:
            raise self._bad_input(words) from None
        analog = self._analog(words)
        if self._signed:
            analog = self._with_signs(analog)
        discrete = self._unpack(self._contacts(words))
        if not self._standard:
            return RawInputs(analog, discrete, age_scans)
        if words[0] != self._signature or words[1] != self._map_version:
            self._require_map(words)
        status = words[4]
        return _raw(
            analog,
            discrete,
            age_scans,
            words[2] << 16 | words[3],
            words[5],
            status & 1 != 0,
            status & 2 != 0,
            status & 4 != 0,
            (),
            (),
            words[7],
        )

    def encode(self, outputs: Outputs, heartbeat: int, scan_ms: int, *, alive: bool = True) -> list[int]:
        """Words of one output block, (output_count,): absolute values, unused bits and words 0.

        alive: False = these are safe outputs, sent because nobody controls: the pulse, if there is one, stands still.

        Raises LinkError "bad-words" for a value that is not a number or outside its point's span.
        """
        words = list(self._block(outputs.analog, outputs.discrete))
        if self._beats:
            if not (0 <= heartbeat <= 65535 and 0 <= scan_ms <= 65535):
                raise self._bad_header(heartbeat, scan_ms)
            words[0] = heartbeat
            words[1] = scan_ms
        if self._pulse is not None:
            self._pulse.put(words, heartbeat, alive)
        return words

    def _words_of(self, analog: tuple[float, ...], discrete: tuple[bool, ...]) -> tuple[int, ...]:
        """The output block of these outputs, without its header."""
        if len(analog) != len(self._outputs):
            raise self._bad_output(analog)
        words = [0] * self.output_count
        try:
            for column, offset, lo, gain, raw_lo, least, most in self._spans:
                word = raw_lo + round((analog[column] - lo) * gain)
                if not least <= word <= most:
                    raise self._bad_output(analog)
                words[offset] = word & 0xFFFF
        except (ValueError, OverflowError):  # NaN, infinity
            raise self._bad_output(analog) from None
        for offset, word in self._pack(discrete):
            words[offset] = word
        return tuple(words)

    def _with_signs(self, analog: tuple[int, ...]) -> tuple[int, ...]:
        values = list(analog)
        for column in self._signed:
            if values[column] > 32767:
                values[column] -= 65536
        return tuple(values)

    def _require_map(self, words: Sequence[int]) -> None:
        wanted = self._signature
        if wanted is not None and words[0] != wanted:
            raise LinkError(
                "wrong-signature",
                f"{self.where} shows signature 0x{words[0]:04X} in register {self.device.input.base}, expected"
                f" 0x{wanted:04X}: this is another device or another register map; check host, port and"
                " [input] base and signature in the device file",
            )
        version = self._map_version
        if version is not None and words[1] != version:
            raise LinkError(
                "wrong-map-version",
                f"{self.where} shows map version {words[1]} in register {self.device.input.base + 1}, expected"
                f" {version}: point list and device do not belong together; load the point list made for map"
                f" version {words[1]}, or update the device",
            )

    def _bad_input(self, words: Sequence[int]) -> LinkError:
        if len(words) != self.input_count:
            text = f"{len(words)} words came, expected {self.input_count}"
        else:
            offset = next(i for i, word in enumerate(words) if not _is_word(word))
            text = f"register {self.device.input.base + offset} = {words[offset]!r} is no 16-bit word (0..65535)"
        return LinkError("bad-words", f"{self.where}: {text}; the frame is not used, check device and point list")

    def _bad_header(self, heartbeat: int, scan_ms: int) -> LinkError:
        text = f"heartbeat {heartbeat} or scan time {scan_ms} ms does not fit a 16-bit word"
        return LinkError("bad-words", f"{self.where}: {text}; nothing was sent")

    def _bad_output(self, analog: tuple[float, ...]) -> LinkError:
        if len(analog) != len(self._outputs):
            text = f"{len(analog)} analog outputs came, expected {len(self._outputs)}"
            return LinkError("bad-words", f"{self.where}: {text}; nothing was sent")
        for point, value in zip(self._outputs, analog, strict=True):
            if not point.lo <= value <= point.hi:
                text = f"{point.tag} = {value!r} is outside {point.lo:g}..{point.hi:g} {point.unit}"
                return LinkError("bad-words", f"{self.where}: {text}; nothing was sent")
        return LinkError("bad-words", f"{self.where}: outputs {analog!r} do not fit; nothing was sent")


def _picker(offsets: tuple[int, ...]) -> Callable[[Sequence[int]], tuple[int, ...]]:
    """The quickest way to take these words out of a block, in this order, as a tuple."""
    start = offsets[0] if offsets else 0
    if len(offsets) < 2 or (len(offsets) > 4 and offsets == tuple(range(start, start + len(offsets)))):
        block = slice(start, start + len(offsets))
        return lambda words: tuple(words[block])
    pick: Any = itemgetter(*offsets)
    return pick  # type: ignore[no-any-return]


def _masks(points: tuple[Point, ...]) -> tuple[tuple[int, int], ...]:
    """(which of the packed words, bit) of each contact, in point-list order."""
    addresses = sorted({point.address for point in points})
    return tuple((addresses.index(point.address), 1 << point.bit) for point in points)


def _unpack(masks: tuple[tuple[int, int], ...], packed: tuple[int, ...]) -> tuple[bool, ...]:
    return tuple([packed[which] & mask != 0 for which, mask in masks])


def _pack(coils: tuple[tuple[int, int], ...], states: tuple[bool, ...]) -> tuple[tuple[int, int], ...]:
    """(offset, packed word) of every word with coils. states: one per coil; another number raises ValueError."""
    words = dict.fromkeys((offset for offset, _ in coils), 0)
    for (offset, mask), on in zip(coils, states, strict=True):
        if on:
            words[offset] |= mask
    return tuple(words.items())


def _is_word(value: object) -> bool:
    return isinstance(value, int) and 0 <= value <= 65535
