"""The device without a socket: its image, its wiring, and what it refuses."""

from __future__ import annotations

import dataclasses

import pytest

from plantsim.chamber import OUTPUTS
from plantsim.params import Actuators, PlantParams, Probe
from plantsim.remote_io import RemoteIo, Wiring, wiring_of

STATUS, ECHO = 4, 5


def test_a_fresh_device_shows_signature_version_and_that_it_is_simulated(lockstep):
    assert lockstep.read()[:8] == [0x5A1E, 1, 0, 0, 0b100, 0, 0, 0]


def test_analog_inputs_stand_where_the_point_list_says_whatever_the_order_of_the_probes(
    chamber, terminals, wiring, device
):
    """Probes are listed backwards in the wiring; every register must still carry its own tag's current."""
    backwards = Wiring(list(reversed(wiring.probes)), wiring.contacts, wiring.actuators)
    io = RemoteIo(chamber, terminals, device(True).device, backwards, lockstep=True)
    current = dict(zip(backwards.probes, chamber.microamps, strict=True))
    words = io.read()
    for terminal in terminals:
        if terminal.kind == "AI":
            assert words[terminal.address] == current[terminal.tag], terminal.tag


def test_each_contact_alone_sets_its_own_bit_and_no_other(block, chamber, terminals, lockstep):
    h = 0
    for terminal in terminals:
        if terminal.kind != "DI":
            continue
        chamber.contacts = {tag: tag == terminal.tag for tag in chamber.contacts}
        h += 1
        words = lockstep.turn(block(h))
        assert words[46] | words[47] << 16 == 1 << terminal.bit + 16 * (terminal.address - 46), terminal.tag


def test_transmitters_are_ranged_after_the_point_list(chamber, lockstep):
    assert len(chamber.spans) == 38
    assert chamber.spans["TT-101A"] == (-10.0, 60.0)
    assert chamber.spans["JT-103"] == (0.0, 120.0)


def test_the_wiring_follows_the_parameters_of_the_chamber_model():
    params = PlantParams(
        probe=(Probe(tag="T-2", sees="air"), Probe(tag="T-1", sees="rh")),
        contacts={"FS-1": "airflow"},
        actuators=Actuators(fan_run="Y-1", valve_pct="V-1"),
    )
    wiring = wiring_of(params)
    assert list(wiring.probes) == ["T-2", "T-1"]
    assert wiring.contacts == {"FS-1": "airflow"}
    assert dict(zip(OUTPUTS, wiring.actuators, strict=True)) == dict.fromkeys(OUTPUTS, "") | {
        "fan_run": "Y-1",
        "valve_pct": "V-1",
    }


def test_outputs_reach_the_actuators_in_their_units(heating, block, chamber, lockstep):
    lockstep.write(block(1))
    assert chamber.steps == [heating]


def test_an_output_word_beyond_its_range_is_clipped(block, chamber, lockstep):
    lockstep.write(block(1, fan=65535, valve=10001))
    assert chamber.steps[-1][1] == 100.0
    assert chamber.steps[-1][3] == 100.0


def test_the_block_in_force_can_be_read_back(block, lockstep):
    assert lockstep.words_out == [0, 0, 5000, 0, 0, 0b1_0010_0001]
    lockstep.write(block(7))
    assert lockstep.words_out == block(7)


def test_an_actuator_that_is_not_connected_stays_off(block, chamber, terminals, wiring, device):
    unplugged = Wiring(wiring.probes, wiring.contacts, ("", *wiring.actuators[1:]))
    RemoteIo(chamber, terminals, device(True).device, unplugged, lockstep=True).write(block(1, bits=0xFFFF))
    assert chamber.steps[-1][:3] == (0.0, 60.0, 1.0)


def test_the_fault_bit_is_shown_and_cleared(lockstep):
    lockstep.set_fault(True)
    assert lockstep.read()[STATUS] == 0b110
    lockstep.set_fault(False)
    assert lockstep.read()[STATUS] == 0b100


def test_what_was_read_is_a_copy(block, lockstep):
    lockstep.read()[0] = 0
    lockstep.turn(block(1))[0] = 0
    assert lockstep.read()[0] == 0x5A1E


@pytest.mark.parametrize("length", [0, 1, 5, 7])
def test_a_block_that_is_not_whole_is_refused_and_changes_nothing(chamber, lockstep, length):
    with pytest.raises(ValueError, match="output block of"):
        lockstep.write([1] * length)
    assert chamber.steps == []
    assert lockstep.read()[ECHO] == 0


def test_every_wiring_fault_is_named_at_once(chamber, terminals, wiring, device):
    by_tag = {t.tag: t for t in terminals}
    spoilt = [
        dataclasses.replace(by_tag["TT-101A"], address=300),
        dataclasses.replace(by_tag["TT-101B"], raw_lo=0),
        dataclasses.replace(by_tag["TT-101C"], tag="TT-999"),
        dataclasses.replace(by_tag["MT-101A"], address=13),
        dataclasses.replace(by_tag["FS-101"], tag="FS-999"),
        *[t for t in terminals if t.kind in ("AO", "DO") and t.tag != "YC-106"],
        by_tag["TT-101F"],
    ]
    with pytest.raises(ValueError, match="do not fit") as caught:
        RemoteIo(chamber, spoilt, device(True).device, wiring, lockstep=True)
    text = str(caught.value)
    for part in (
        "TT-101A: register 300 is outside 8..47",
        "TT-101B: raw span 0..20000",
        "TT-999: no probe",
        "TT-101F: register 13 bit 0 belongs to MT-101A",
        "FS-999: no contact",
        "YC-106: an actuator of the chamber model without a terminal",
    ):
        assert part in text


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"input_count": 121}, "input block 0\\+121"),
        ({"output_count": 1}, "output block 256\\+1"),
        ({"output_base": 40}, "overlap"),
        ({"output_base": 65535}, "inside 0..65535"),
    ],
)
def test_blocks_that_no_request_can_carry_are_refused(chamber, terminals, wiring, device, change, text):
    moved = dataclasses.replace(device(True).device, **change)
    with pytest.raises(ValueError, match=text):
        RemoteIo(chamber, terminals, moved, wiring, lockstep=True)
