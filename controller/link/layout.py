"""Do points and device fit together? All clashes at once, in the words of the point list."""

from __future__ import annotations

from typing import NamedTuple

from controller.core.points import Point
from controller.errors import ConfigError, Problem
from controller.link import pulse
from controller.link.blocks import is_plain, plan_blocks
from controller.link.device import IMAGE_WORDS_MAX, INPUT_HEADER_WORDS, OUTPUT_HEADER_WORDS, Device


class Layout(NamedTuple):
    """Words of the input and of the output block, headers included."""

    input_count: int
    output_count: int


def require_layout(points: tuple[Point, ...], device: Device) -> Layout:
    """Sizes of both blocks. Raises ConfigError with every point that does not fit."""
    problems: list[Problem] = [
        _problem(point, "device", point.device, f"must be {device.name}", "rename the device, here or in its file")
        for point in points
        if point.device != device.name
    ]
    problems += [
        _problem(point, "unit_id", point.unit_id, f"must be {device.unit_id}", "as in the device file")
        for point in points
        if point.unit_id != device.unit_id
    ]
    problems += pulse.problems(points, device)
    if not is_plain(points, device):
        return _require_blocks(points, device, problems)
    inputs = [point for point in points if point.kind in ("AI", "DI")]
    outputs = [point for point in points if point.kind in ("AO", "DO")]
    header_in = INPUT_HEADER_WORDS if device.input.header == "standard" else 0
    header_out = OUTPUT_HEADER_WORDS if device.output.header == "standard" else 0
    input_count = _block(inputs, device.input.base, header_in, problems)
    output_count = _block(outputs, device.output.base, header_out, problems)
    problems += _flat_spans(outputs)
    if problems:
        raise ConfigError(problems)
    return Layout(input_count, output_count)


def _require_blocks(points: tuple[Point, ...], device: Device, problems: list[Problem]) -> Layout:
    """The same for a device with other tables and types."""
    try:
        blocks = plan_blocks([point for point in points if point.device == device.name], device)
    except ConfigError as error:
        problems += error.problems
    problems += _flat_spans([point for point in points if point.kind == "AO"])
    if problems:
        raise ConfigError(problems)
    return Layout(blocks.input_count, blocks.output_count)


def _block(points: list[Point], base: int, header: int, problems: list[Problem]) -> int:
    """Words from base to the last point; adds what clashes to `problems`."""
    last = base + IMAGE_WORDS_MAX - 1
    taken: dict[tuple[int, int], str] = {}
    for point in points:
        if not base + header <= point.address <= last:
            limit = f"must be in {base + header}..{last}"
            problems.append(_problem(point, "address", point.address, limit, "move the point into its block"))
        bits = range(16) if point.kind in ("AI", "AO") else (point.bit,)
        for bit in bits:
            owner = taken.setdefault((point.address, bit), point.tag)
            if owner != point.tag:
                limit = f"bit {bit} there belongs to {owner}"
                problems.append(_problem(point, "address", point.address, limit, "give each point its own place"))
                break
    return max([header, *(point.address - base + 1 for point in points)])


def _flat_spans(outputs: list[Point]) -> list[Problem]:
    return [
        _problem(point, "hi", point.hi, f"must differ from lo = {point.lo:g}", "give the span of the output")
        for point in outputs
        if point.kind == "AO" and point.hi == point.lo
    ]


def _problem(point: Point, field: str, value: object, limit: str, remedy: str) -> Problem:
    return Problem("point list", f"{point.tag}.{field}", str(value), limit, remedy)
