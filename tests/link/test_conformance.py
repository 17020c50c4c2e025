"""Every link is the same link: one set of assertions over direct, Modbus (both kinds of turn) and an idle faulty one.

The device is the simulated panel's own remote I/O in lockstep around a chamber that only counts its steps.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from controller.core.frames import Outputs, RawInputs
from controller.errors import LinkError
from controller.link.device import Device
from controller.link.direct import DirectLink
from controller.link.faulty import FaultyLink
from controller.link.image import Image
from controller.link.liveness import Liveness, watch
from controller.link.modbus import ModbusLink
from controller.link.protocol import Link
from plantsim.remote_io import RemoteIo
from plantsim.server import Server

SCANS = 60
COILS = 11  # of the demo panel


Make = Callable[[], Link]
FORMS = ["direct", "faulty, empty schedule", "FC23", "FC03+FC16"]


@pytest.fixture
def make(panel: Device, image: Image, remote_io: Callable[[], RemoteIo]) -> Iterator[Callable[[str], Link]]:
    """Makes a link of a form to a device of its own, as it was when it started."""
    ends: list[Callable[[], Any]] = []

    def link(form: str) -> Link:
        io = remote_io()
        if form == "direct":
            return DirectLink(io)
        if form.startswith("faulty"):
            return FaultyLink(DirectLink(io), {})
        server = Server(io)
        device = dataclasses.replace(panel, port=server.start(), turn=form)  # type: ignore[arg-type]
        modbus = ModbusLink(device, input_count=image.input_count, output_count=image.output_count, lockstep=True)
        ends.extend([modbus.close, server.stop])
        return modbus

    yield link
    for end in ends:
        end()


@pytest.fixture(params=FORMS)
def link(request: pytest.FixtureRequest, make: Callable[[str], Link]) -> Link:
    return make(request.param)


def outputs(scan: int) -> Outputs:
    return Outputs((scan % 101, 12.5, 100.0), tuple(bool(scan >> bit & 1) for bit in range(COILS)))


def test_the_first_contact_is_a_read_that_moves_nothing(link: Link, image: Image) -> None:
    first = image.decode(link.read())
    assert image.decode(link.read()) == first
    assert (first.counter, first.analog[0], first.simulated) == (0, 4000, True)
    assert first.discrete == (True,) * 17


def test_a_turn_writes_before_it_reads_and_the_device_lives_one_scan(link: Link, image: Image) -> None:
    raw = image.decode(link.turn(image.encode(outputs(40), 1, 1000)))
    assert (raw.counter, raw.echo, raw.analog[0], raw.analog[1]) == (1, 1, 4001, 4000 + 160 * 40)


def test_a_write_is_seen_by_the_next_read(link: Link, image: Image) -> None:
    link.write(image.encode(outputs(7), 1, 1000))
    raw = image.decode(link.read())
    assert (raw.counter, raw.echo, raw.analog[1]) == (1, 1, 4000 + 160 * 7)


def test_a_block_sent_twice_is_obeyed_once(link: Link, image: Image) -> None:
    block = image.encode(outputs(1), 5, 1000)
    first = image.decode(link.turn(block))
    assert image.decode(link.turn(block)) == first


def test_many_turns_leave_no_doubt_about_the_device(link: Link, image: Image) -> None:
    raw = image.decode(link.read())
    alive, _ = watch(Liveness(), raw, None, lockstep=True)
    for scan in range(1, SCANS + 1):
        raw = image.decode(link.turn(image.encode(outputs(scan), scan, 1000)))
        alive, reasons = watch(alive, raw, scan, lockstep=True)
        assert reasons == ()
    assert raw.counter == SCANS


def test_a_jump_of_the_heartbeat_lives_the_scans_between(link: Link, image: Image) -> None:
    image.decode(link.turn(image.encode(outputs(1), 1, 1000)))
    raw = image.decode(link.turn(image.encode(outputs(2), 31, 1000)))
    assert (raw.counter, raw.echo) == (31, 31)


@pytest.mark.parametrize("bad", [-1, 65536])
def test_a_word_that_does_not_fit_is_refused_and_nothing_moves(link: Link, image: Image, bad: int) -> None:
    block = image.encode(outputs(1), 1, 1000)
    for send in (link.turn, link.write):
        with pytest.raises(LinkError) as caught:
            send([*block[:2], bad, *block[3:]])
        assert caught.value.kind == "bad-words"
    assert image.decode(link.read()).counter == 0


def test_a_closed_link_can_be_used_again(link: Link, image: Image) -> None:
    link.read()
    link.close()
    assert image.decode(link.read()).counter == 0


def test_the_same_turns_give_the_same_words_over_every_link(make: Callable[[str], Link], image: Image) -> None:
    """Goal: one trace over all links. Method: every input block of a run, compared with the direct link's."""

    def run(form: str) -> list[list[int]]:
        link = make(form)
        return [link.read(), *(link.turn(image.encode(outputs(scan), scan, 1000)) for scan in range(1, SCANS + 1))]

    direct = run("direct")
    assert len({tuple(words) for words in direct}) == SCANS + 1
    for form in FORMS[1:]:
        assert run(form) == direct


def test_raw_inputs_of_an_aged_frame_say_how_old_they_are(link: Link, image: Image) -> None:
    words = link.read()
    assert image.decode(words, age_scans=4) == dataclasses.replace(image.decode(words), age_scans=4)
    assert isinstance(image.decode(words), RawInputs)
