"""A panel of several devices: which requests its points make, where they stand, and what cannot be."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.core.frames import Outputs
from controller.core.points import NO_NUMBER, Point
from controller.errors import ConfigError, LinkError
from controller.link.bits import ReadBitsRequest, WriteBitsRequest
from controller.link.blocks import Block, plan_blocks
from controller.link.codec import Source, numbers_of
from controller.link.device import Device, InputBlock, OutputBlock, ReadBlock, Watchdog, WriteBlock
from controller.link.image import Image
from controller.link.panelimage import PanelImage
from controller.link.reach import image_of


def point(tag: str, kind: str, address: int, device: str = "io", **given: object) -> Point:
    signal = {"AI": "raw", "AO": "percent"}.get(kind, "contact")
    spans = {"raw_lo": 0, "raw_hi": 10000, "lo": 0.0, "hi": 100.0} if kind in ("AI", "AO") else {}
    return Point(tag=tag, kind=kind, text=tag, device=device, address=address, signal=signal, **{**spans, **given})  # type: ignore[arg-type]


IO = Device(name="io", host="a", input=InputBlock(base=100), output=OutputBlock(base=200))
MODULE = Device(name="module", host="b")
POINTS = (
    point("TT-1", "AI", 3, "module", table="input", type="int16"),
    point("TT-2", "AI", 5, "module", table="input", type="int16"),
    point("JT-1", "AI", 110, type="float32", word_order="low-first"),
    point("YS-1", "DI", 0, table="discrete"),
    point("YS-2", "DI", 20, table="discrete"),
    point("YS-3", "DI", 108, bit=3),
    point("SC-1", "AO", 202),
    point("YC-1", "DO", 8, table="coil"),
    point("YC-2", "DO", 10, table="coil"),
)


def test_one_request_a_table_is_made_and_the_heartbeat_goes_last() -> None:
    blocks = plan_blocks([p for p in POINTS if p.device == "io"], IO)
    assert blocks.reads == (Block(2, 0, 21, 0), Block(3, 100, 12, 2))
    assert blocks.writes == (Block(15, 8, 3, 0), Block(16, 200, 3, 1))
    assert (blocks.input_count, blocks.output_count) == (14, 4)
    assert (blocks.header_in, blocks.header_out) == (2, 1)
    assert plan_blocks([p for p in POINTS if p.device == "module"], MODULE).reads == (Block(4, 3, 3, 0),)


def test_words_of_all_devices_stand_one_after_the_other_behind_their_ages() -> None:
    image = PanelImage(POINTS, (MODULE, IO))
    assert (image.input_count, image.output_count) == (2 + 3 + 14, 4)
    header = [7, 7, 1, 2, 5, 77, 0, 0]
    words = [0, 0, 0xFFC9, 9, 250, 0b1, 0b10000, *header, 0b1000, 0, 0x0000, 0x4212]  # 36.5 = 42120000h
    raw = image.decode(words)
    assert raw.analog == (-55, 250, 36.5)
    assert raw.discrete == (True, True, True)
    assert (raw.counter, raw.echo, raw.watchdog_tripped, raw.simulated) == (65538, 77, True, True)
    assert (raw.age_scans, raw.analog_ages, raw.discrete_ages) == (0, (), ())


def test_ages_in_front_of_the_words_reach_the_points_of_their_device() -> None:
    image = PanelImage(POINTS, (MODULE, IO))
    old = image.decode([4, 0, *[0] * 17])
    assert (old.age_scans, old.analog_ages, old.discrete_ages) == (0, (4, 4, 0), (0, 0, 0))
    old = image.decode([0, 2, *[0] * 17])  # the device with the outputs
    assert (old.age_scans, old.analog_ages, old.discrete_ages) == (2, (0, 0, 2), (2, 2, 2))


def test_outputs_become_coils_and_registers() -> None:
    image = PanelImage(POINTS, (MODULE, IO))
    assert image.encode(Outputs((12.34,), (True, True)), 78, 1000) == [0b101, 78, 1000, 1234]
    for wrong in (Outputs((101.0,), (True, True)), Outputs((float("nan"),), (True, True)), Outputs((1.0,), (True,))):
        with pytest.raises(LinkError, match="nothing was sent"):
            image.encode(wrong, 78, 1000)


@pytest.mark.parametrize("words", [[0] * 18, [0] * 18 + [-1], [0] * 18 + [65536]])
def test_words_that_are_none_are_refused(words: list[int]) -> None:
    with pytest.raises(LinkError, match="19 16-bit words"):
        PanelImage(POINTS, (MODULE, IO)).decode(words)


@pytest.mark.parametrize(
    ("device", "points", "said"),
    [
        (IO, [point("TT-1", "AI", 101)], "TT-1.address = 101: the header stands there"),
        (IO, [point("SC-1", "AO", 201)], "SC-1.address = 201: the header stands there"),
        (replace(IO, read=(ReadBlock(function=3, base=100, count=9),)), [point("JT-1", "AI", 108, type="int32")],
         "JT-1.address = 108: no request of io has it"),
        (replace(IO, read=(ReadBlock(function=4, base=100, count=9),)), [], "io.input.base"),
        (replace(IO, write=(WriteBlock(function=15, base=0, count=9),)), [point("YC-1", "DO", 0, table="coil")],
         "io.output.base"),
        (MODULE, [point("TT-1", "AI", 0), point("TT-2", "AI", 120)], "one request carries at most 120"),
    ],
)  # fmt: skip
def test_what_no_request_has_is_said(device: Device, points: list[Point], said: str) -> None:
    with pytest.raises(ConfigError) as caught:
        plan_blocks(points, device)
    assert any(said in str(problem) for problem in caught.value.problems), caught.value.problems


def test_a_point_of_a_device_that_is_not_there_is_refused() -> None:
    with pytest.raises(ConfigError, match="must be io"):
        PanelImage(POINTS, (IO,))


def test_the_quick_image_is_kept_for_a_plain_panel(points: tuple[Point, ...], panel: Device) -> None:
    assert type(image_of(points, (panel,))) is Image
    told = replace(panel, watchdog=Watchdog(time_s=10, register=1))
    listed = replace(panel, read=(ReadBlock(function=3, base=0, count=48),))
    for other in (told, listed):
        assert type(image_of(points, (other,))) is PanelImage


def test_bits_are_packed_least_significant_first() -> None:
    """Examples of the specification, V1.1b3 sections 6.1 (coils 20 to 38) and 6.11 (coils 20 to 29), from memory."""
    read = ReadBitsRequest("x", 1, 0x13, 19)
    assert read.pdu == bytes.fromhex("01 00 13 00 13")
    assert read.words(bytes.fromhex("01 03 CD 6B 05")) == [0x6BCD, 0x0005]
    write = WriteBitsRequest("x", 0x13, 10)
    assert write.pdu([0x01CD]) == bytes.fromhex("0F 00 13 00 0A 02 CD 01")
    write.accept(bytes.fromhex("0F 00 13 00 0A"))
    wrong = {"01 02 CD 6B": "wrong-length", "81 02": "exception-2", "02 03 CD 6B 05": "wrong-function"}
    for reply, kind in wrong.items():
        with pytest.raises(LinkError) as caught:
            read.words(bytes.fromhex(reply))
        assert caught.value.kind == kind
    with pytest.raises(LinkError) as caught:
        write.accept(bytes.fromhex("0F 00 13 00 0B"))
    assert caught.value.kind == "wrong-echo"


@pytest.mark.parametrize(
    ("source", "words", "number"),
    [
        (Source(0), [65535, 0], 65535),
        (Source(0, "int16"), [0xFF85, 0], -123),
        (Source(0, "int32"), [0xFFFF, 0xFF85], -123),
        (Source(0, "int32", "low-first"), [0xFF85, 0xFFFF], -123),
        (Source(0, "uint32"), [0xFFFF, 0xFFFF], 4294967295),
        (Source(0, "float32"), [0x4248, 0x0000], 50.0),
        (Source(0, "float32", "low-first"), [0x0000, 0xC128], -10.5),
        (Source(0, "float32"), [0x7FC0, 0x0000], NO_NUMBER),
        (Source(0, "float32"), [0xFF80, 0x0000], NO_NUMBER),
    ],
)
def test_numbers_are_put_together_from_words(source: Source, words: list[int], number: float) -> None:
    assert numbers_of([source])(words) == (number,)
    assert numbers_of([Source(1), source])(words) == (words[1], number)
