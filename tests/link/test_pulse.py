"""The coil for a hard-wired watchdog relay: edges while scans go on, none when they do not, and what is refused."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from controller.config.bundle import load_site
from controller.core.frames import Outputs
from controller.core.points import Point, of_kind
from controller.errors import ConfigError
from controller.link.device import Device, Pulse, absent_checks
from controller.link.image import Image
from controller.link.layout import require_layout
from controller.link.panelimage import PanelImage
from controller.link.pulse import require_pulses
from controller.runtime.rest import safe_outputs
from plantsim.remote_io import RemoteIo

TAG = "YC-199"
OFF, ON = 0, 1


def coil(like: Point, bit: int, address: int | None = None) -> Point:
    return replace(like, tag=TAG, text="watchdog relay", address=address or like.address, bit=bit, safe=0.0)


@pytest.fixture
def one(points: tuple[Point, ...], panel: Device) -> tuple[tuple[Point, ...], Device]:
    """The demo panel with a coil more, bit 15 of its last output word."""
    last = of_kind(points, "DO")[-1]
    return (*points, coil(last, 15)), replace(panel, pulse=Pulse(tag=TAG, time_s=5.0))


def at_rest(points: tuple[Point, ...]) -> Outputs:
    return safe_outputs(points)


def test_the_coil_changes_with_every_block_and_changes_nothing_else(one: tuple[tuple[Point, ...], Device]) -> None:
    points, device = one
    image, plain = Image(points, device), Image(points, replace(device, pulse=None))
    for beat in (0, 1, 2, 65534, 65535):
        words, without = (made.encode(at_rest(points), beat, 1000) for made in (image, plain))
        assert words[:-1] == without[:-1]
        assert words[-1] == without[-1] | (beat & 1) << 15


def test_the_coil_stands_still_while_safe_outputs_are_sent(one: tuple[tuple[Point, ...], Device]) -> None:
    points, device = one
    image = Image(points, device)
    sent = {image.encode(at_rest(points), beat, 1000, alive=False)[-1] >> 15 for beat in range(6)}
    assert sent == {OFF}


def test_a_panel_has_its_pulse_among_the_coils_of_its_device() -> None:
    site = load_site("demo-south", device_class=Device, layout=require_layout)
    io, module = site.devices
    last = max((p for p in of_kind(site.points, "DO")), key=lambda p: p.address)
    points = (*site.points, coil(last, 0, last.address + 1))
    blocks = tuple(replace(b, count=b.count + 1) if b.function == 15 else b for b in io.write)
    image = PanelImage(points, (replace(io, write=blocks, pulse=Pulse(tag=TAG, time_s=5.0)), module))
    at = image.place(points[-1])
    sent = [image.encode(at_rest(points), beat, 1000)[at.word] >> at.bit & 1 for beat in range(5)]
    assert sent == [OFF, ON, OFF, ON, OFF]
    still = [image.encode(at_rest(points), beat, 1000, alive=False)[at.word] >> at.bit & 1 for beat in range(3)]
    assert still == [OFF] * 3


class Relay:
    """Holds while edges come within time_s, drops when they stay out, and stays dropped until a person resets it."""

    def __init__(self, time_s: float) -> None:
        self.holds, self._time_s, self._since_s, self._was = True, time_s, 0.0, OFF

    def see(self, state: int, dt_s: float) -> None:
        self._since_s = 0.0 if state != self._was else self._since_s + dt_s
        self._was = state
        self.holds = self.holds and self._since_s < self._time_s


def test_a_relay_on_the_coil_rides_through_a_lost_frame_and_drops_when_nobody_writes(
    one: tuple[tuple[Point, ...], Device], remote_io: Callable[[], RemoteIo]
) -> None:
    """The device keeps its outputs when its master dies: the relay's only sign is that the edges stay out."""
    points, device = one
    image, relay, io = Image(points, device), Relay(5.0), remote_io()
    for beat in range(1, 40):
        if beat not in (7, 20, 21):  # frames that were lost
            io.write(image.encode(at_rest(points), beat, 1000))
        relay.see(io.words_out[-1] >> 15, 1.0)
    assert relay.holds
    seconds = 0
    while relay.holds:
        relay.see(io.words_out[-1] >> 15, 1.0)
        seconds += 1
    assert seconds == 5


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"tag": "YC-198"}, "is no point of panel-a"),
        ({"kind": "DI"}, "is DI with safe value 0"),
        ({"safe": 1.0}, "is DO with safe value 1"),
        ({"device": "panel-z"}, "is no point of panel-a"),
    ],
)
def test_a_tag_that_cannot_be_a_pulse_is_refused_with_what_to_do(
    one: tuple[tuple[Point, ...], Device], changed: dict[str, object], says: str
) -> None:
    points, device = one
    with pytest.raises(ConfigError, match=says) as refused:
        require_layout((*points[:-1], replace(points[-1], **changed)), device)
    assert any(problem.field == "pulse.tag" for problem in refused.value.problems)


def test_a_relay_that_would_drop_between_scans_or_a_coil_that_is_taken_is_refused(panel: Device) -> None:
    device = replace(panel, pulse=Pulse(tag="YA-191", time_s=5.0))
    require_pulses([device, panel], 1.0, {"YC-192": "alarms.healthy"})
    with pytest.raises(ConfigError) as refused:
        require_pulses([device], 2.0, {"YA-191": "alarms.horn"})
    assert "pulse.time_s = 5: must be at least 3 scans of 2 s" in str(refused.value)
    assert "is already used by alarms.horn" in str(refused.value)


def test_a_device_without_a_watchdog_says_what_its_relay_must_do(panel: Device) -> None:
    bare = replace(panel, watchdog=None)
    assert any(text.endswith("when the controller dies") for text in absent_checks(bare))
    told = absent_checks(replace(bare, pulse=Pulse(tag=TAG, time_s=5.0)))
    assert any(f"save what the relay on {TAG} drops: test it" in text for text in told)
