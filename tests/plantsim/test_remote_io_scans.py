"""The device without a socket: heartbeat rules, scans in lockstep and in real time, watchdog."""

from __future__ import annotations

import dataclasses

import pytest

from plantsim.remote_io import SCANS_PER_BLOCK_MAX, RemoteIo

STATUS, ECHO, STALE, TRIPS = 4, 5, 6, 7
# What the demo panel falls back to, in the order of the actuators: fan runs at half speed, all else off.
SAFE = (1.0, 50.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def scans(words):
    return words[2] << 16 | words[3]


@pytest.mark.parametrize("first", [0, 1, 500, 65535])
def test_a_device_that_has_just_started_takes_the_first_heartbeat_it_sees(heating, block, chamber, lockstep, first):
    words = lockstep.turn(block(first))
    assert (words[ECHO], scans(words), words[STALE]) == (first, 1, 0)
    assert chamber.steps == [heating]


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
def test_newer_is_1_to_32767_ahead_modulo_65536(block, realtime, last, h, newer):
    realtime.write(block(last, fan=0))
    realtime.write(block(h))
    words = realtime.read()
    assert words[ECHO] == (h if newer else last)
    assert words[STALE] == (0 if newer else 1)
    assert realtime.words_out == (block(h) if newer else block(last, fan=0))


def test_a_stale_block_changes_nothing_but_the_count(block, chamber, lockstep):
    before = lockstep.turn(block(5))
    after = lockstep.turn(block(4, fan=0, bits=0))
    assert after[STALE] == 1
    after[STALE] = 0
    assert after == before
    assert len(chamber.steps) == 1
    assert lockstep.words_out == block(5)


def test_the_stale_count_wraps_as_a_word_does(block, realtime):
    realtime.write(block(5))
    for _ in range(65536 + 3):
        realtime.write(block(5))
    assert realtime.read()[STALE] == 3


# ---- lockstep


def test_each_newer_block_lives_one_scan_with_the_new_outputs_at_once(block, chamber, lockstep):
    for h in range(1, 6):
        assert scans(lockstep.turn(block(h, fan=1000 * h))) == h
    assert [step[1] for step in chamber.steps] == [10.0, 20.0, 30.0, 40.0, 50.0]


def test_reading_lives_no_scan(block, chamber, lockstep):
    lockstep.write(block(1))
    for _ in range(5):
        lockstep.read()
    assert len(chamber.steps) == 1


def test_lost_frames_cost_no_simulated_time_and_keep_the_old_outputs(block, chamber, lockstep):
    lockstep.write(block(1, fan=1000))
    words = lockstep.turn(block(4, fan=4000))
    assert [step[1] for step in chamber.steps] == [10.0, 10.0, 10.0, 40.0]
    assert (scans(words), words[TRIPS]) == (4, 0)


def test_the_image_is_that_of_the_last_scan_lived(block, lockstep):
    assert lockstep.turn(block(9))[8] == 4001
    assert lockstep.turn(block(12))[8] == 4004


def test_in_a_gap_the_watchdog_counts_and_outputs_fall_back_after_exactly_its_time(heating, block, chamber, lockstep):
    """Watchdog 10 s, scan 1 s: the block holds for 10 scans, from the eleventh on outputs are safe."""
    lockstep.write(block(1))
    words = lockstep.turn(block(31, fan=7000))
    assert chamber.steps[:10] == [heating] * 10
    assert chamber.steps[10:30] == [SAFE] * 20
    assert chamber.steps[30] == (1.0, 70.0, *heating[2:])
    assert words[TRIPS] == 1
    assert words[STATUS] == 0b100  # recovered with the fresh block; the count stays


def test_a_long_jump_is_lived_in_steps_and_its_outputs_wait_for_the_end(block, chamber, lockstep):
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


def test_a_jump_of_just_the_bound_is_lived_at_once(block, lockstep):
    lockstep.write(block(1))
    words = lockstep.turn(block(1 + SCANS_PER_BLOCK_MAX + 1))
    assert (scans(words), words[ECHO]) == (1 + SCANS_PER_BLOCK_MAX + 1, 1 + SCANS_PER_BLOCK_MAX + 1)


# ---- real time and the watchdog


def test_in_real_time_a_write_waits_for_the_tick(heating, block, chamber, realtime):
    realtime.write(block(1))
    assert chamber.steps == []
    assert realtime.read()[ECHO] == 1
    realtime.tick()
    assert chamber.steps == [heating]
    assert scans(realtime.read()) == 1


def test_a_device_that_never_had_a_master_stays_safe_without_a_trip(chamber, realtime):
    for _ in range(30):
        realtime.tick()
    assert set(chamber.steps) == {SAFE}
    assert (realtime.tripped, realtime.trips) == (False, 0)


def test_silence_trips_once_and_says_so(heating, block, chamber, realtime):
    realtime.write(block(1))
    for _ in range(9):
        realtime.tick()
    assert chamber.steps == [heating] * 9
    assert not realtime.tripped
    for _ in range(30):
        realtime.tick()
    assert chamber.steps[9:] == [SAFE] * 30
    assert realtime.tripped
    assert (realtime.read()[STATUS], realtime.read()[TRIPS]) == (0b101, 1)
    assert realtime.words_out == [1, 1000, 5000, 0, 0, 0b1_0010_0001]


def test_reading_and_stale_blocks_do_not_feed_the_watchdog(block, realtime):
    realtime.write(block(3))
    for _ in range(10):
        realtime.read()
        realtime.turn(block(3))
        realtime.tick()
    assert realtime.tripped


def test_a_fresh_block_recovers_at_once_and_the_count_stays(heating, block, chamber, realtime):
    realtime.write(block(1))
    for _ in range(12):
        realtime.tick()
    realtime.write(block(2))
    assert (realtime.read()[STATUS], realtime.read()[TRIPS]) == (0b100, 1)
    realtime.tick()
    assert chamber.steps[-1] == heating
    for _ in range(12):
        realtime.tick()
    assert realtime.trips == 2


def test_the_same_block_as_the_safe_one_still_arms_the_watchdog_anew(heating, block, chamber, realtime):
    """Outputs equal to the fall-back must not be mistaken for no news (words are compared on the fast path)."""
    safe = realtime.words_out[2:]
    realtime.write((1, 1000, *safe))
    realtime.tick()
    realtime.write(block(2))
    realtime.tick()
    realtime.write((3, 1000, *safe))
    realtime.tick()
    assert chamber.steps == [SAFE, heating, SAFE]


def test_watchdog_time_is_met_with_scans_that_do_not_add_up_in_binary(block, terminals, wiring, device, chamber):
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
