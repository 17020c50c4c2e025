"""The device without a socket: image, heartbeat rules, lockstep, watchdog."""

from __future__ import annotations

import dataclasses

import pytest

from plantsim.chamber import OUTPUTS
from plantsim.params import Actuators, PlantParams, Probe
from plantsim.remote_io import SCANS_PER_BLOCK_MAX, RemoteIo, Wiring, wiring_of

STATUS, ECHO, STALE, TRIPS = 4, 5, 6, 7
# What the demo panel falls back to, in the order of the actuators: fan runs at half speed, all else off.
SAFE = (1.0, 50.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
HEATING = (1.0, 60.0, 1.0, 25.0, 10.0, 0.0, 1.0, 0.0)


def block(heartbeat, fan=6000, valve=2500, vent=1000, bits=0b1011):
    """An output block; by default what HEATING says: fan 60 %, heating on, valve 25 %, damper 10 %, fog bank B."""
    return [heartbeat, 1000, fan, valve, vent, bits]


def scans(words):
    return words[2] << 16 | words[3]


# ---- image


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


def test_each_contact_alone_sets_its_own_bit_and_no_other(chamber, terminals, lockstep):
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


def test_outputs_reach_the_actuators_in_their_units(chamber, lockstep):
    lockstep.write(block(1))
    assert chamber.steps == [HEATING]


def test_an_output_word_beyond_its_range_is_clipped(chamber, lockstep):
    lockstep.write(block(1, fan=65535, valve=10001))
    assert chamber.steps[-1][1] == 100.0
    assert chamber.steps[-1][3] == 100.0


def test_the_block_in_force_can_be_read_back(lockstep):
    assert lockstep.words_out == [0, 0, 5000, 0, 0, 0b100001]
    lockstep.write(block(7))
    assert lockstep.words_out == block(7)


def test_an_actuator_that_is_not_connected_stays_off(chamber, terminals, wiring, device):
    unplugged = Wiring(wiring.probes, wiring.contacts, ("", *wiring.actuators[1:]))
    RemoteIo(chamber, terminals, device(True).device, unplugged, lockstep=True).write(block(1, bits=0xFFFF))
    assert chamber.steps[-1][:3] == (0.0, 60.0, 1.0)


def test_the_fault_bit_is_shown_and_cleared(lockstep):
    lockstep.set_fault(True)
    assert lockstep.read()[STATUS] == 0b110
    lockstep.set_fault(False)
    assert lockstep.read()[STATUS] == 0b100


def test_what_was_read_is_a_copy(lockstep):
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


# ---- heartbeat


@pytest.mark.parametrize("first", [0, 1, 500, 65535])
def test_a_device_that_has_just_started_takes_the_first_heartbeat_it_sees(chamber, lockstep, first):
    words = lockstep.turn(block(first))
    assert (words[ECHO], scans(words), words[STALE]) == (first, 1, 0)
    assert chamber.steps == [HEATING]


@pytest.mark.parametrize(
    ("last", "h", "newer"),
    [
        (10, 11, True),
        (10, 10, False),
        (10, 9, False),
        (65535, 0, True),
        (0, 65535, False),
        (0, 32767, True),
        (0, 32768, False),
        (40000, 7231, True),  # 7231 - 40000 = 32767 modulo 65536
        (40000, 7232, False),
    ],
)
def test_newer_is_1_to_32767_ahead_modulo_65536(realtime, last, h, newer):
    realtime.write(block(last, fan=0))
    realtime.write(block(h))
    words = realtime.read()
    assert words[ECHO] == (h if newer else last)
    assert words[STALE] == (0 if newer else 1)
    assert realtime.words_out == (block(h) if newer else block(last, fan=0))


def test_a_stale_block_changes_nothing_but_the_count(chamber, lockstep):
    before = lockstep.turn(block(5))
    after = lockstep.turn(block(4, fan=0, bits=0))
    assert after[STALE] == 1
    after[STALE] = 0
    assert after == before
    assert len(chamber.steps) == 1
    assert lockstep.words_out == block(5)


def test_the_stale_count_wraps_as_a_word_does(realtime):
    realtime.write(block(5))
    for _ in range(65536 + 3):
        realtime.write(block(5))
    assert realtime.read()[STALE] == 3


# ---- lockstep


def test_each_newer_block_lives_one_scan_with_the_new_outputs_at_once(chamber, lockstep):
    for h in range(1, 6):
        assert scans(lockstep.turn(block(h, fan=1000 * h))) == h
    assert [step[1] for step in chamber.steps] == [10.0, 20.0, 30.0, 40.0, 50.0]


def test_reading_lives_no_scan(chamber, lockstep):
    lockstep.write(block(1))
    for _ in range(5):
        lockstep.read()
    assert len(chamber.steps) == 1


def test_lost_frames_cost_no_simulated_time_and_keep_the_old_outputs(chamber, lockstep):
    lockstep.write(block(1, fan=1000))
    words = lockstep.turn(block(4, fan=4000))
    assert [step[1] for step in chamber.steps] == [10.0, 10.0, 10.0, 40.0]
    assert (scans(words), words[TRIPS]) == (4, 0)


def test_the_image_is_that_of_the_last_scan_lived(lockstep):
    assert lockstep.turn(block(9))[8] == 4001
    assert lockstep.turn(block(12))[8] == 4004


def test_in_a_gap_the_watchdog_counts_and_outputs_fall_back_after_exactly_its_time(chamber, lockstep):
    """Watchdog 10 s, scan 1 s: the block holds for 10 scans, from the eleventh on outputs are safe."""
    lockstep.write(block(1))
    words = lockstep.turn(block(31, fan=7000))
    assert chamber.steps[:10] == [HEATING] * 10
    assert chamber.steps[10:30] == [SAFE] * 20
    assert chamber.steps[30] == (1.0, 70.0, *HEATING[2:])
    assert words[TRIPS] == 1
    assert words[STATUS] == 0b100  # recovered with the fresh block; the count stays


def test_a_long_jump_is_lived_in_steps_and_its_outputs_wait_for_the_end(chamber, lockstep):
    """A jump of 8,000: two steps of 3,600 seen in the echo, then the rest with the block's own outputs last."""
    lockstep.write(block(100))
    words = lockstep.turn(block(8100, fan=7000))
    assert (scans(words), words[ECHO]) == (1 + SCANS_PER_BLOCK_MAX, 3700)
    assert words[STATUS] == 0b101
    words = lockstep.turn(block(8100, fan=7000))
    assert (scans(words), words[ECHO]) == (1 + 2 * SCANS_PER_BLOCK_MAX, 7300)
    words = lockstep.turn(block(8101, fan=7000))
    assert (scans(words), words[ECHO]) == (8002, 8101)
    assert chamber.steps[-2] == SAFE
    assert chamber.steps[-1][1] == 70.0
    assert words[STALE] == 0


def test_a_jump_of_just_the_bound_is_lived_at_once(lockstep):
    lockstep.write(block(1))
    words = lockstep.turn(block(1 + SCANS_PER_BLOCK_MAX + 1))
    assert (scans(words), words[ECHO]) == (1 + SCANS_PER_BLOCK_MAX + 1, 1 + SCANS_PER_BLOCK_MAX + 1)


# ---- real time and the watchdog


def test_in_real_time_a_write_waits_for_the_tick(chamber, realtime):
    realtime.write(block(1))
    assert chamber.steps == []
    assert realtime.read()[ECHO] == 1
    realtime.tick()
    assert chamber.steps == [HEATING]
    assert scans(realtime.read()) == 1


def test_a_device_that_never_had_a_master_stays_safe_without_a_trip(chamber, realtime):
    for _ in range(30):
        realtime.tick()
    assert set(chamber.steps) == {SAFE}
    assert (realtime.tripped, realtime.trips) == (False, 0)


def test_silence_trips_once_and_says_so(chamber, realtime):
    realtime.write(block(1))
    for _ in range(9):
        realtime.tick()
    assert chamber.steps == [HEATING] * 9
    assert not realtime.tripped
    for _ in range(30):
        realtime.tick()
    assert chamber.steps[9:] == [SAFE] * 30
    assert realtime.tripped
    assert (realtime.read()[STATUS], realtime.read()[TRIPS]) == (0b101, 1)
    assert realtime.words_out == [1, 1000, 5000, 0, 0, 0b100001]


def test_reading_and_stale_blocks_do_not_feed_the_watchdog(realtime):
    realtime.write(block(3))
    for _ in range(10):
        realtime.read()
        realtime.turn(block(3))
        realtime.tick()
    assert realtime.tripped


def test_a_fresh_block_recovers_at_once_and_the_count_stays(chamber, realtime):
    realtime.write(block(1))
    for _ in range(12):
        realtime.tick()
    realtime.write(block(2))
    assert (realtime.read()[STATUS], realtime.read()[TRIPS]) == (0b100, 1)
    realtime.tick()
    assert chamber.steps[-1] == HEATING
    for _ in range(12):
        realtime.tick()
    assert realtime.trips == 2


def test_the_same_block_as_the_safe_one_still_arms_the_watchdog_anew(chamber, realtime):
    """Outputs equal to the fall-back must not be mistaken for no news (words are compared on the fast path)."""
    safe = realtime.words_out[2:]
    realtime.write((1, 1000, *safe))
    realtime.tick()
    realtime.write(block(2))
    realtime.tick()
    realtime.write((3, 1000, *safe))
    realtime.tick()
    assert chamber.steps == [SAFE, HEATING, SAFE]


def test_watchdog_time_is_met_with_scans_that_do_not_add_up_in_binary(terminals, wiring, device, chamber):
    """Scan 0.1 s, watchdog 1 s: ten tenths are a second, so the block holds for ten scans and not for eleven."""
    chamber.dt_s = 0.1
    panel = dataclasses.replace(device(True).device, watchdog_s=1.0)
    io = RemoteIo(chamber, terminals, panel, wiring, lockstep=False)
    io.write(block(1))
    for _ in range(9):
        io.tick()
    assert not io.tripped
    io.tick()
    assert io.tripped


def test_prepare_compiles_the_chamber_and_lives_no_scan(chamber, lockstep):
    lockstep.prepare()
    assert (chamber.compiled, chamber.steps) == (1, [])
