"""Our requests against the simulated second panel over loopback: settings, re-arm after a trip, one connection."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator
from dataclasses import replace

import pytest

from controller.config.bundle import load_site
from controller.core.frames import Outputs
from controller.errors import LinkError
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.link.panel import PanelLink, modbus_panel
from controller.link.panelimage import PanelImage
from controller.rig.plant import Plant, build, scene
from plantsim.fieldserver import FieldServer

SITE = load_site("demo-south", device_class=Device, layout=require_layout)
DEVICES = tuple(replace(device, timeout_s=20.0) for device in SITE.devices)
IMAGE = PanelImage(SITE.points, DEVICES)
OUT = Outputs((75.0, 0.0, 0.0), (True, *[False] * 7))


class Panel:
    """The simulated panel in its own time, which only the test moves: its clock is slower than any test."""

    def __init__(self) -> None:
        self.plant: Plant = build(scene(), SITE.points, DEVICES, lockstep=False)
        self.server = FieldServer(self.plant.device, self.plant.field, "127.0.0.1", [0, 0], pace=1e-5)
        self.server.start()

    def link(self) -> PanelLink:
        return modbus_panel(IMAGE, places=[("127.0.0.1", port) for port in self.server.ports])

    def live(self, scans: int) -> None:
        with self.server.lock:
            for _ in range(scans):
                self.plant.device.tick()


@pytest.fixture
def panel() -> Iterator[Panel]:
    made = Panel()
    yield made
    made.server.stop()


def test_the_watchdog_is_off_until_a_connection_sets_it(panel: Panel) -> None:
    io = panel.plant.device
    io.write([1, 1000, *io.words_out[2:]])
    panel.live(60)
    assert not io.tripped
    link = panel.link()
    link.read()
    panel.live(10)
    assert io.tripped
    link.close()


def test_outputs_refused_after_a_trip_come_back_by_a_re_arm(panel: Panel) -> None:
    """Scan by scan: refused, re-armed and taken; the fan's speed says which outputs are in force."""
    io, link = panel.plant.device, panel.link()
    link.read()
    link.write(IMAGE.encode(OUT, 1, 1000))
    assert io.words_out[2] == 7500
    panel.live(10)
    assert io.tripped
    assert IMAGE.decode(link.read()).watchdog_tripped
    link.write(IMAGE.encode(OUT, 2, 1000))
    assert io.words_out[2] == 5000  # its safe value
    panel.live(1)
    raw = IMAGE.decode(link.read())
    assert raw.age_scans == 1
    assert link.counts["io-b exception-4"] == 1
    link.write(IMAGE.encode(OUT, 3, 1000))
    assert (io.words_out[2], io.tripped) == (7500, False)
    panel.live(1)
    assert IMAGE.decode(link.read()).age_scans == 0
    assert link.counts["io-b re-armed"] == 1
    link.close()


def test_a_heartbeat_that_is_not_newer_changes_nothing(panel: Panel) -> None:
    io, link = panel.plant.device, panel.link()
    link.read()
    link.write(IMAGE.encode(OUT, 500, 1000))
    link.write(IMAGE.encode(replace(OUT, analog=(10.0, 0.0, 0.0)), 499, 1000))
    assert io.words_out[2] == 7500
    assert io.read()[6] == 1  # stale blocks dropped
    assert IMAGE.decode(link.read()).age_scans == 1  # its echo says that it does not follow
    link.close()


def test_the_module_serves_one_connection_and_takes_the_next_when_it_is_closed(panel: Panel) -> None:
    """The controller closes before it opens, so one is enough for it, also when it comes back."""
    port = panel.server.ports[1]
    with socket.create_connection(("127.0.0.1", port)) as other:
        other.sendall(bytes.fromhex("0001 0000 0006 01 04 0000 0001"))
        assert len(other.recv(100)) == 11
        link = panel.link()
        raw = IMAGE.decode(link.read())
        assert max(raw.analog_ages) == 65535
        link.close()
    last_s = time.monotonic() + 30.0
    while True:  # the server needs a moment to see that the other one left
        link = panel.link()
        raw = IMAGE.decode(link.read())
        if not raw.analog_ages or time.monotonic() > last_s:
            break
        link.close()
    assert raw.analog_ages == ()
    assert link.counts["rtd-b connections"] == 1
    link.close()


@pytest.mark.parametrize(
    ("device", "request_hex", "answer"),
    [
        (0, "03 0000 0002", "03 04 10B0 0001"),
        (0, "03 0000 0017", "83 02"),
        (0, "04 0000 0001", "84 02"),
        (0, "02 0000 0012", "82 02"),
        (0, "01 0020 0008", "81 02"),  # its coils cannot be read
        (0, "05 0020 FF00", "85 01"),
        (0, "0F 0020 0008 02 0000", "8F 03"),
        (0, "0F 001F 0008 01 00", "8F 02"),
        (1, "04 0000 0000", "84 03"),
        (1, "04 0000 0010", "84 02"),
        (1, "10 0060 0002 04 0001 000A", "10 0060 0002"),
        (1, "10 0061 0002 04 0001 000A", "90 02"),
    ],
)
def test_the_simulated_devices_answer_by_the_book(panel: Panel, device: int, request_hex: str, answer: str) -> None:
    """Functions, addresses, quantities: exceptions 01, 02 and 03 of V1.1b3 section 7."""
    pdu = bytes.fromhex(request_hex)
    with socket.create_connection(("127.0.0.1", panel.server.ports[device])) as client:
        client.sendall((1).to_bytes(2, "big") + b"\0\0" + (len(pdu) + 1).to_bytes(2, "big") + b"\1" + pdu)
        assert client.recv(300)[7:] == bytes.fromhex(answer)


def test_a_foreign_signature_is_refused_at_the_first_contact(panel: Panel) -> None:
    io = replace(DEVICES[0], input=replace(DEVICES[0].input, signature=0x1234))
    image = PanelImage(SITE.points, (io, DEVICES[1]))
    link = modbus_panel(image, places=[("127.0.0.1", port) for port in panel.server.ports])
    with pytest.raises(LinkError) as caught:
        link.read()
    assert caught.value.kind == "wrong-signature"
    link.close()
