"""A coil that changes with every block of outputs that is sent, for a relay that a person wires where a device has no
watchdog of its own: while edges come the relay holds, and when they stay out it drops heat and fog by itself.

The coil follows the lowest bit of the heartbeat, so it shows that scans go on, that their outputs were sent and that
the device took them. It stands still, off, while safe outputs are sent: nobody is at work then who should hold a relay.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple

from controller.core.points import Point
from controller.errors import ConfigError, Problem
from controller.link.blocks import Place
from controller.link.device import Device

SCANS_MIN = 3  # that the relay must wait for; a lost frame leaves two edges out


class Coil(NamedTuple):
    """Where it stands among the output words."""

    word: int
    mask: int

    def put(self, words: list[int], heartbeat: int, alive: bool) -> None:
        """Set it for this heartbeat."""
        if alive and heartbeat & 1:
            words[self.word] |= self.mask
        else:
            words[self.word] &= ~self.mask


def coil_of(points: tuple[Point, ...], device: Device, place: Callable[[Point], Place]) -> Coil | None:
    """The coil of a device, None where it has none. place: of a point among the output words. Raises ConfigError."""
    if device.pulse is None:
        return None
    found = problems(points, device)
    if found:
        raise ConfigError(found)
    at = place(next(point for point in points if point.tag == device.pulse.tag))
    return Coil(at.word, 1 << at.bit)


def problems(points: tuple[Point, ...], device: Device) -> list[Problem]:
    """What is wrong with the tag of a device's pulse; empty without one."""
    pulse = device.pulse
    if pulse is None:
        return []
    point = next((point for point in points if point.tag == pulse.tag), None)
    if point is None or point.device != device.name:
        return [_problem(device, "tag", pulse.tag, f"is no point of {device.name}", "add it to the point list")]
    if point.kind != "DO" or point.safe != 0.0:
        remedy = "choose a contact output whose safe value is 0: off and still"
        return [_problem(device, "tag", pulse.tag, f"is {point.kind} with safe value {point.safe:g}", remedy)]
    return []


def require_pulses(devices: Iterable[Device], scan_s: float, taken: Mapping[str, str]) -> None:
    """Raise ConfigError when a relay would drop between two scans, or its coil is taken. taken: tag -> by what."""
    found = []
    for device in devices:
        pulse = device.pulse
        if pulse is None:
            continue
        if pulse.time_s < SCANS_MIN * scan_s:
            limit = f"must be at least {SCANS_MIN} scans of {scan_s:g} s"
            remedy = "set the relay, and this, to a longer time, or scan faster"
            found.append(_problem(device, "time_s", f"{pulse.time_s:g}", limit, remedy))
        if pulse.tag in taken:
            limit = f"is already used by {taken[pulse.tag]} of the chamber file"
            found.append(_problem(device, "tag", pulse.tag, limit, "give the pulse a coil of its own"))
    if found:
        raise ConfigError(found)


def _problem(device: Device, field: str, value: str, limit: str, remedy: str) -> Problem:
    return Problem(f"device file {device.name}", f"pulse.{field}", value, limit, remedy)
