"""Our controller on a panel of two devices by other hands: servers of pymodbus as I/O coupler and as RTD module.

The demo panel's own files are used, so every table, type and word order in them is asked of a foreign device. Raw
numbers are put there by pymodbus' own conversion, not by ours.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from importlib.metadata import version
from typing import Any

import pytest
from pymodbus.client.mixin import ModbusClientMixin
from pymodbus.simulator import DataType, SimData, SimDevice

from controller.config.bundle import load_site
from controller.core.frames import Outputs
from controller.core.points import Point, of_kind
from controller.core.signals import signals
from controller.errors import LinkError
from controller.link.device import Device, Setting
from controller.link.layout import require_layout
from controller.link.panel import PanelLink, modbus_panel
from controller.link.panelimage import PanelImage
from tests.outside.peer import PeerServer

pytestmark = pytest.mark.outside(f"library: server and conversions of pymodbus {version('pymodbus')}")

SITE = load_site("demo-south", device_class=Device, layout=require_layout)
TO_REGISTERS = ModbusClientMixin.convert_to_registers
PYMODBUS: dict[str, Any] = {
    "int16": ModbusClientMixin.DATATYPE.INT16,
    "uint16": ModbusClientMixin.DATATYPE.UINT16,
    "int32": ModbusClientMixin.DATATYPE.INT32,
    "float32": ModbusClientMixin.DATATYPE.FLOAT32,
}


class Peer(PeerServer):
    """One with four separate tables."""

    def __init__(
        self, unit: int, *, coils: int = 1, bits: list[bool], holding: dict[int, int], inputs: list[int]
    ) -> None:
        size = max(holding, default=0) + 1
        words = [holding.get(at, 0) for at in range(size)]
        super().__init__(SimDevice(
            id=unit,
            simdata=(
                [SimData(0, values=[False] * coils, datatype=DataType.BITS)],
                [SimData(0, values=bits, datatype=DataType.BITS)],
                [SimData(0, values=words, datatype=DataType.REGISTERS)],
                [SimData(0, values=inputs, datatype=DataType.REGISTERS)],
            ),
        ))


def registers(point: Point, number: float) -> dict[int, int]:
    """Where pymodbus would put a number of this type and word order."""
    order = "big" if point.word_order == "high-first" else "little"
    words = TO_REGISTERS(number, PYMODBUS[point.type], word_order=order)  # type: ignore[arg-type]
    return {point.address + n: word for n, word in enumerate(words)}


NUMBERS = {"TT-101A": 321, "TT-101D": -55, "TT-101E": 32767, "TT-111": -32768, "FT-101": 9000, "JT-103": 36.5}
# What they must mean, by hand: tenths of a degree, g/s, kW; NaN for both codes of a broken sensor.
MEANING = {"TT-101A": 32.1, "TT-101D": -5.5, "TT-101E": None, "TT-111": None, "FT-101": 9.0, "JT-103": 36.5}


@pytest.fixture
def peers() -> Iterator[list[Peer]]:
    """io-b and rtd-b as the files describe them, with NUMBERS in place and every second contact closed."""
    holding = {0: 0x10B0, 1: 1, 3: 5, 5: 77, 516: 0, 1025: 0}
    inputs: dict[int, int] = dict.fromkeys(range(15), 0)
    for point in of_kind(SITE.points, "AI"):
        if point.tag in NUMBERS:
            (inputs if point.table == "input" else holding).update(registers(point, NUMBERS[point.tag]))
    io = Peer(1, coils=40, bits=[n % 2 == 0 for n in range(17)], holding=holding, inputs=[0])
    rtd = Peer(1, bits=[False], holding={97: 0}, inputs=[inputs[at] for at in range(15)])
    yield [io, rtd]
    io.close()
    rtd.close()


def link_to(peers: list[Peer], image: PanelImage, *, lockstep: bool = False) -> PanelLink:
    return modbus_panel(image, lockstep=lockstep, places=[("127.0.0.1", peer.port) for peer in peers])


@pytest.fixture
def image() -> PanelImage:
    return PanelImage(SITE.points, tuple(replace(device, timeout_s=5.0) for device in SITE.devices))


def test_numbers_of_every_type_and_order_are_read_from_a_foreign_panel(peers: list[Peer], image: PanelImage) -> None:
    link = link_to(peers, image)
    raw = image.decode(link.read())
    plan = signals.bind(SITE.chamber.signals, SITE.points)
    _, frame = signals.evaluate(plan, signals.initial(plan), raw, 1.0)
    link.close()
    tags = [point.tag for point in of_kind(SITE.points, "AI")]
    for tag, meaning in MEANING.items():
        column = tags.index(tag)
        if meaning is None:
            assert frame.reasons[column] == signals.FAULT_CODE
        else:
            assert frame.values[column] == pytest.approx(meaning)
            assert frame.qualities[column] == 0
    assert raw.discrete == tuple(n % 2 == 0 for n in range(17))
    assert (raw.counter, raw.echo, raw.analog_ages) == (5, 77, ())


def test_outputs_and_settings_arrive_in_coils_and_registers(peers: list[Peer], image: PanelImage) -> None:
    """A second client of ours reads back by other requests what was written."""
    link = link_to(peers, image)
    link.read()
    coils = (True, False, True, True, False, False, False, True)
    link.write(image.encode(Outputs((50.0, 12.34, 100.0), coils), 78, 1000))
    link.close()
    device = SITE.devices[0]
    look = replace(
        device,
        input=replace(device.input, header="none"),
        read=(
            replace(device.read[0], base=512, count=5),
            replace(device.read[1], function=1, base=32, count=8),
            replace(device.read[0], base=1024, count=1),
        ),
        timeout_s=5.0,
        watchdog=None,
    )
    back = modbus_panel(PanelImage((), (look,)), places=[("127.0.0.1", peers[0].port)])
    words = back.read()
    back.close()
    assert words[1:6] == [78, 1000, 5000, 1234, 10000]
    assert words[6] == sum(on << n for n, on in enumerate(coils))
    assert words[7] == 100  # the watchdog's ten seconds in tenths


def test_a_setting_that_does_not_stay_refuses_the_device(peers: list[Peer]) -> None:
    """The register lies beyond the device: it refuses the write, and nothing is read from a device not set up."""
    io, rtd = (replace(device, timeout_s=5.0) for device in SITE.devices)
    io = replace(io, on_connect=(Setting(text="filter", base=4000, values=(7,)),))
    link = link_to(peers, PanelImage(SITE.points, (io, rtd)))
    with pytest.raises(LinkError, match="exception 2"):
        link.read()
    link.close()


def test_a_coupler_whose_counter_stands_is_doubted_though_it_answers(peers: list[Peer], image: PanelImage) -> None:
    link = link_to(peers, image)
    ages = [image.decode(link.read()).age_scans for _ in range(6)]
    link.close()
    assert ages == [0, 0, 0, 1, 2, 3]
    assert link.counts["io-b not-alive"] == 3
    assert "frozen" in link.notices[0].text


def test_a_lost_module_ages_alone_and_comes_back(peers: list[Peer]) -> None:
    """Without a header the foreign coupler counts as alive. Lockstep, so that no pause stands in the way."""
    io, rtd = SITE.devices
    io = replace(io, input=replace(io.input, header="none"))
    image = PanelImage(SITE.points, (io, rtd))
    link = link_to(peers, image, lockstep=True)
    first = image.decode(link.read())
    peers[1].close()
    lost = [image.decode(link.read()) for _ in range(3)]
    columns = [point.device for point in of_kind(SITE.points, "AI")]
    for age, raw in enumerate(lost, start=1):
        assert raw.analog == first.analog
        assert raw.age_scans == 0
        assert raw.analog_ages == tuple(age if device == "rtd-b" else 0 for device in columns)
        assert set(raw.discrete_ages) == {0}
    peers[1].open()
    assert image.decode(link.read()) == first
    link.close()
    assert [event.text.split(":")[0] for event in link.notices] == ["rtd-b", "rtd-b answers again after 3 scans"]


def test_a_lost_coupler_ages_the_whole_panel_as_it_carries_the_outputs(peers: list[Peer]) -> None:
    io, rtd = SITE.devices
    image = PanelImage(SITE.points, (replace(io, input=replace(io.input, header="none")), rtd))
    link = link_to(peers, image, lockstep=True)
    link.read()
    peers[0].close()
    raw = image.decode(link.turn([0] * image.output_count))
    link.close()
    assert raw.age_scans == 1
    assert set(raw.discrete_ages) == {1}
    assert set(raw.analog_ages) == {0, 1}


def test_the_first_contact_needs_the_coupler_but_not_the_module(peers: list[Peer], image: PanelImage) -> None:
    peers[1].close()
    link = link_to(peers, image)
    raw = image.decode(link.read())
    link.close()
    assert raw.age_scans == 0
    assert max(raw.analog_ages) == 65535
    peers[0].close()
    link = link_to(peers, image)
    with pytest.raises(LinkError) as caught:
        link.read()
    assert caught.value.kind == "refused"
    link.close()
