"""The image of a panel of several devices: their words one after the other <-> inputs and outputs of a scan. Pure.

In front stands one word a device: for how many scans it has not answered (0 = these words are fresh). So age is part
of what is recorded, and a recorded scan decodes to what the controller saw. Then come the words of the devices in the
order of the chamber file, each as controller.link.blocks has them.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from struct import Struct, error
from typing import NamedTuple

from controller.core.frames import Outputs, RawInputs
from controller.core.points import Point, of_kind
from controller.errors import ConfigError, LinkError, Problem
from controller.link.blocks import Blocks, Place, plan_blocks
from controller.link.codec import Source, numbers_of, picker
from controller.link.device import Device, InputBlock, OutputBlock
from controller.link.pulse import coil_of


class Member(NamedTuple):
    """One device of a panel. inputs, outputs: where its words stand among those of the panel."""

    blocks: Blocks
    inputs: slice
    outputs: slice


class PanelImage:
    """Where every point of a panel stands. Built once; `decode` and `encode` keep nothing between calls.

    input_count, output_count: words of all devices, ages in front of the inputs included. members: in the order of
    `devices`. device: what the loop asks for a header; health is judged for each device by the panel's link.
    Raises ConfigError with every clash at once.
    """

    def __init__(self, points: tuple[Point, ...], devices: tuple[Device, ...]) -> None:
        plans = _plans(points, devices)
        starts_in = list(accumulate((plan.input_count for plan in plans), initial=len(plans)))
        starts_out = list(accumulate((plan.output_count for plan in plans), initial=0))
        self.members = tuple(
            Member(plan, slice(first, first + plan.input_count), slice(start, start + plan.output_count))
            for plan, first, start in zip(plans, starts_in, starts_out, strict=False)
        )
        self.input_count, self.output_count = starts_in[-1], starts_out[-1]
        self.where = " and ".join(f"{plan.device.name} at {plan.device.host}:{plan.device.port}" for plan in plans)
        nothing = InputBlock(base=0, header="none")
        self.device = Device(
            name="panel", host=devices[0].host, input=nothing, output=OutputBlock(base=0, header="none")
        )
        self._pack = Struct(f">{self.input_count}H").pack
        self._bind_inputs(points)
        self._bind_outputs(points)

    def _bind_inputs(self, points: tuple[Point, ...]) -> None:
        names = [member.blocks.device.name for member in self.members]
        analog, contacts = of_kind(points, "AI"), of_kind(points, "DI")
        self._numbers = numbers_of([Source(self.place(p).word, p.type, p.word_order) for p in analog])
        self._contacts = tuple((place.word, 1 << place.bit) for place in map(self.place, contacts))
        self._fresh = (0,) * len(self.members)
        self._analog_ages = picker([names.index(point.device) for point in analog])
        self._discrete_ages = picker([names.index(point.device) for point in contacts])
        driving = {point.device for point in points if point.kind in ("AO", "DO")}
        self.driving = tuple(n for n, name in enumerate(names) if name in driving) or tuple(range(len(names)))
        heads = [member.inputs.start + member.blocks.header_in for member in self.members if _has_header(member)]
        beats = [
            member.inputs.start + member.blocks.header_in
            for member in self.members
            if _has_header(member) and member.blocks.header_out is not None
        ]
        self._heads, self._beat = tuple(heads), (beats or heads or [None])[0]

    def _bind_outputs(self, points: tuple[Point, ...]) -> None:
        self._outputs = of_kind(points, "AO")
        self._spans = tuple(
            (self.place(p).word, p.lo, p.hi, (p.raw_hi - p.raw_lo) / (p.hi - p.lo), p.raw_lo) for p in self._outputs
        )
        self._coils = tuple((place.word, 1 << place.bit) for place in map(self.place, of_kind(points, "DO")))
        coils = (coil_of(points, member.blocks.device, self.place) for member in self.members)
        self._pulses = tuple(coil for coil in coils if coil is not None)
        self._beats_out = tuple(
            member.outputs.start + member.blocks.header_out
            for member in self.members
            if member.blocks.header_out is not None
        )
        echoed = [
            member.outputs.start + member.blocks.header_out
            for member in self.members
            if _has_header(member) and member.blocks.header_out is not None
        ]
        self.heartbeat_word = echoed[0] if echoed else None

    def place(self, point: Point) -> Place:
        """Its place among the words of the panel, inputs or outputs."""
        member = next(member for member in self.members if member.blocks.device.name == point.device)
        here = member.blocks.place(point)
        block = member.inputs if point.kind in ("AI", "DI") else member.outputs
        return Place(block.start + here.word, here.bit)

    def decode(self, words: Sequence[int], age_scans: int = 0) -> RawInputs:
        """Inputs of one scan. words: (input_count,) 0..65535. age_scans: how old all of them are.

        Raises LinkError "bad-words" (count, or not 16 bits).
        """
        try:
            self._pack(*words)
        except error:
            text = f"{len(words)} words came that are not {self.input_count} 16-bit words; the frame is not used"
            raise LinkError("bad-words", f"{self.where}: {text}, check devices and point list") from None
        ages = tuple(words[: len(self._fresh)])
        aged = ages != self._fresh
        status = 0
        for head in self._heads:
            status |= words[head + 4]
        beat = self._beat
        return RawInputs(
            self._numbers(words),
            tuple([words[word] & mask != 0 for word, mask in self._contacts]),
            age_scans + max([ages[n] for n in self.driving]) if aged else age_scans,
            0 if beat is None else words[beat + 2] << 16 | words[beat + 3],
            0 if beat is None else words[beat + 5],
            status & 1 != 0,
            status & 2 != 0,
            status & 4 != 0,
            self._analog_ages(ages) if aged else (),
            self._discrete_ages(ages) if aged else (),
            0 if beat is None else words[beat + 7],
        )

    def encode(self, outputs: Outputs, heartbeat: int, scan_ms: int, *, alive: bool = True) -> list[int]:
        """Words of all outputs, (output_count,): absolute values, unused bits and words 0. alive: as of an Image.

        Raises LinkError "bad-words" for a value that is not a number or outside its point's span.
        """
        words = [0] * self.output_count
        if not (0 <= heartbeat <= 65535 and 0 <= scan_ms <= 65535):
            text = f"heartbeat {heartbeat} or scan time {scan_ms} ms does not fit a 16-bit word"
            raise LinkError("bad-words", f"{self.where}: {text}; nothing was sent")
        for at in self._beats_out:
            words[at], words[at + 1] = heartbeat, scan_ms
        analog, discrete = outputs.analog, outputs.discrete
        if len(analog) != len(self._spans) or len(discrete) != len(self._coils):
            raise self._unfit(outputs)
        for value, (at, lo, hi, gain, raw_lo) in zip(analog, self._spans, strict=True):
            if not lo <= value <= hi:
                raise self._unfit(outputs)
            words[at] = (raw_lo + round((value - lo) * gain)) & 0xFFFF
        for on, (at, mask) in zip(discrete, self._coils, strict=True):
            if on:
                words[at] |= mask
        for coil in self._pulses:
            coil.put(words, heartbeat, alive)
        return words

    def _unfit(self, outputs: Outputs) -> LinkError:
        text = f"outputs {outputs.analog!r}, {outputs.discrete!r} do not fit their points"
        return LinkError("bad-words", f"{self.where}: {text}; nothing was sent")


def _has_header(member: Member) -> bool:
    return member.blocks.header_in is not None


def _plans(points: tuple[Point, ...], devices: tuple[Device, ...]) -> list[Blocks]:
    """The requests of every device; all problems of all of them at once."""
    problems: list[Problem] = []
    names = [device.name for device in devices]
    for point in points:
        if point.device not in names:
            limit = f"must be {' or '.join(names)}"
            problems.append(
                Problem("point list", f"{point.tag}.device", point.device, limit, "name a device of the chamber file")
            )
    plans: list[Blocks] = []
    for device in devices:
        try:
            plans.append(plan_blocks([point for point in points if point.device == device.name], device))
        except ConfigError as trouble:
            problems += trouble.problems
    if problems:
        raise ConfigError(problems)
    return plans
