"""Words <-> inputs and outputs, and what is refused on the way."""

from __future__ import annotations

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.frames import Outputs
from controller.core.points import Point
from controller.errors import ConfigError, LinkError
from controller.link.device import Device, InputBlock, absent_checks
from controller.link.image import Image

BITS = (0, 1, 2, 3, 4, 8, 9, 10, 5, 6, 7)  # of the coils, in the order of the point list
REST = Outputs(analog=(50.0, 0.0, 0.0), discrete=tuple(bit in (0, 5) for bit in BITS))


def test_the_demo_panel_fills_48_words_in_and_6_words_out(image: Image) -> None:
    assert (image.input_count, image.output_count) == (48, 6)


def test_analog_inputs_keep_point_list_order_and_raw_words(image: Image, words: list[int]) -> None:
    raw = image.decode(words)
    assert raw.analog == tuple(range(4000, 4038))
    assert raw.age_scans == 0


def test_header_gives_counter_echo_and_nothing_tripped(image: Image, words: list[int]) -> None:
    raw = image.decode(words, age_scans=3)
    assert (raw.counter, raw.echo, raw.age_scans) == (0x0001_0002, 77, 3)
    words[7] = 65535
    assert (raw.watchdog_trips, image.decode(words).watchdog_trips) == (0, 65535)
    assert (raw.watchdog_tripped, raw.fault, raw.simulated) == (False, False, False)


@pytest.mark.parametrize(("bit", "name"), [(0, "watchdog_tripped"), (1, "fault"), (2, "simulated")])
def test_each_status_bit_is_one_flag(image: Image, words: list[int], bit: int, name: str) -> None:
    words[4] = 1 << bit
    raw = image.decode(words)
    assert [n for n in ("watchdog_tripped", "fault", "simulated") if getattr(raw, n)] == [name]


@pytest.mark.parametrize("column", range(17))
def test_each_contact_is_one_bit_low_bit_first(image: Image, words: list[int], column: int) -> None:
    words[46 + column // 16] = 1 << column % 16
    raw = image.decode(words)
    assert [i for i, made in enumerate(raw.discrete) if made] == [column]
    assert len(raw.discrete) == 17


@pytest.mark.parametrize("bad", [-1, 65536, 4000.5, math.nan, None, "4000"])
def test_what_is_no_16_bit_word_is_refused_with_its_register(image: Image, words: list[int], bad: object) -> None:
    words[30] = bad  # type: ignore[call-overload]
    with pytest.raises(LinkError) as caught:
        image.decode(words)
    assert caught.value.kind == "bad-words"
    assert f"register 30 = {bad!r}" in str(caught.value)


@pytest.mark.parametrize("count", [0, 47, 49])
def test_a_block_of_another_length_is_refused(image: Image, words: list[int], count: int) -> None:
    with pytest.raises(LinkError, match=f"{count} words came, expected 48") as caught:
        image.decode((words * 2)[:count])
    assert caught.value.kind == "bad-words"


def test_another_signature_says_what_was_read_expected_where_and_what_to_do(image: Image, words: list[int]) -> None:
    words[0] = 0x1E5A  # the two bytes swapped
    with pytest.raises(LinkError) as caught:
        image.decode(words)
    assert caught.value.kind == "wrong-signature"
    assert str(caught.value) == (
        "panel-a at 127.0.0.1:5020 shows signature 0x1E5A in register 0, expected 0x5A1E: this is another device or"
        " another register map; check host, port and [input] base and signature in the device file"
    )


def test_another_map_version_is_refused(image: Image, words: list[int]) -> None:
    words[1] = 2
    with pytest.raises(LinkError, match=r"map version 2 in register 1, expected 1.*load the point list") as caught:
        image.decode(words)
    assert caught.value.kind == "wrong-map-version"


def test_outputs_become_absolute_hundredths_of_a_percent_and_packed_bits(image: Image) -> None:
    outputs = dataclasses.replace(REST, analog=(50.0, 12.345, 100.0))
    assert image.encode(outputs, heartbeat=65535, scan_ms=1000) == [65535, 1000, 5000, 1234, 10000, 0b0010_0001]


@given(st.tuples(*[st.floats(0, 100)] * 3), st.tuples(*[st.booleans()] * len(BITS)), st.integers(0, 65535))
def test_every_permitted_output_survives_the_way_to_words(
    image: Image, analog: tuple[float, ...], discrete: tuple[bool, ...], heartbeat: int
) -> None:
    """Goal: nothing is lost or moved. Method: undo the scale here; half a step is the most that may be lost."""
    sent = image.encode(Outputs(analog, discrete), heartbeat, 1000)
    assert sent[:2] == [heartbeat, 1000]
    assert [word / 100 for word in sent[2:5]] == pytest.approx(analog, abs=0.00501)
    assert [bool(sent[5] >> bit & 1) for bit in BITS] == list(discrete)


@pytest.mark.parametrize("bad", [-0.1, 100.1, math.nan, math.inf, -math.inf, 1e300])
def test_an_output_outside_its_span_is_refused_by_its_tag(image: Image, bad: float) -> None:
    with pytest.raises(LinkError, match=r"TCV-103 = .* is outside 0\.\.100 %; nothing was sent") as caught:
        image.encode(dataclasses.replace(REST, analog=(50.0, bad, 0.0)), 1, 1000)
    assert caught.value.kind == "bad-words"


@pytest.mark.parametrize(("heartbeat", "scan_ms"), [(65536, 1000), (-1, 1000), (1, 65536)])
def test_a_header_word_that_does_not_fit_is_refused(image: Image, heartbeat: int, scan_ms: int) -> None:
    with pytest.raises(LinkError, match="does not fit a 16-bit word"):
        image.encode(REST, heartbeat, scan_ms)


def test_points_with_a_negative_raw_span_are_read_as_signed_words(
    points: tuple[Point, ...], panel: Device, words: list[int]
) -> None:
    """A module that gives 0.1 degC: FF85h is -12.3 degC, not 6541.3."""
    signed = (dataclasses.replace(points[0], raw_lo=-32768, raw_hi=32767, signal="raw"), *points[1:])
    words[8] = 0xFF85
    assert Image(signed, panel).decode(words).analog[:2] == (-123, 4001)


def test_points_out_of_register_order_keep_point_list_order(
    points: tuple[Point, ...], panel: Device, words: list[int]
) -> None:
    swapped = (points[1], points[0], *points[2:])
    assert Image(swapped, panel).decode(words).analog[:3] == (4001, 4000, 4002)


def test_a_device_without_header_is_read_and_its_missing_checks_are_named(
    points: tuple[Point, ...], panel: Device
) -> None:
    bare = dataclasses.replace(panel, input=InputBlock(base=8, header="none"))
    raw = Image(points, bare).decode([*range(5000, 5038), 1, 0])
    assert (raw.analog[0], raw.discrete[0], raw.counter, raw.echo) == (5000, True, 0, 0)
    assert any("looks alive" in text for text in absent_checks(bare))
    assert absent_checks(panel) == ()


def test_all_clashes_of_addresses_are_told_at_once(points: tuple[Point, ...], panel: Device) -> None:
    def moved(tag: str, **changes: object) -> tuple[Point, ...]:
        return tuple(dataclasses.replace(p, **changes) if p.tag == tag else p for p in wrong)  # type: ignore[arg-type]

    wrong = points
    wrong = moved("TT-101A", address=7)  # in the header
    wrong = moved("TT-101B", address=10)  # where TT-101C stands
    wrong = moved("FS-101", address=200)  # beyond one request
    wrong = moved("XV-102A", bit=1)  # the bit of YC-103
    wrong = moved("HS-101", device="panel-b")
    with pytest.raises(ConfigError) as caught:
        Image(wrong, panel)
    fields = {problem.field for problem in caught.value.problems}
    assert fields == {"TT-101A.address", "TT-101C.address", "FS-101.address", "XV-102A.address", "HS-101.device"}
