"""Does the device live, does it hear us: counter and echo of fresh frames."""

from __future__ import annotations

from controller.core.frames import RawInputs
from controller.link.liveness import STILL_MAX, Liveness, watch


def frame(counter: int, echo: int) -> RawInputs:
    return RawInputs((), (), counter=counter, echo=echo)


def reasons_of(*frames: tuple[int, int, int | None], lockstep: bool) -> list[tuple[str, ...]]:
    state, told = Liveness(), []
    for counter, echo, written in frames:
        state, reasons = watch(state, frame(counter, echo), written, lockstep=lockstep)
        told.append(reasons)
    return told


def test_a_healthy_lockstep_device_gives_no_reason() -> None:
    assert reasons_of((10, 5, None), (11, 6, 6), (12, 7, 7), (15, 10, 10), lockstep=True) == [(), (), (), ()]


def test_lockstep_wraps_of_echo_and_counter_are_no_faults() -> None:
    assert reasons_of((2**32 - 1, 65535, None), (0, 0, 0), (1, 1, 1), lockstep=True) == [(), (), ()]


def test_lockstep_tells_a_scan_lived_twice_and_one_not_lived() -> None:
    twice, none = reasons_of((10, 5, None), (12, 6, 6), (12, 7, 7), lockstep=True)[1:]
    assert twice == ("device lived 2 scans for 1 heartbeats: simulated time has slipped",)
    assert none == ("device lived 0 scans for 1 heartbeats: simulated time has slipped",)


def test_lockstep_echo_must_be_exactly_what_was_written() -> None:
    told = reasons_of((10, 5, None), (10, 5, 6), lockstep=True)[1]
    assert told == ("device echoes heartbeat 5, written was 6: it does not take our outputs",)


def test_real_time_echo_may_be_one_heartbeat_behind_and_no_more() -> None:
    assert reasons_of((10, 5, 5), (11, 5, 6), (12, 5, 7), lockstep=False)[:2] == [(), ()]
    assert "echoes heartbeat 5, written was 7" in reasons_of((12, 5, 7), lockstep=False)[0][0]
    assert reasons_of((1, 65535, 0), lockstep=False) == [()]


def test_real_time_echo_ahead_of_us_means_another_master() -> None:
    assert "echoes heartbeat 9, written was 8" in reasons_of((12, 9, 8), lockstep=False)[0][0]


def test_real_time_counter_may_rest_for_a_moment_but_not_stand() -> None:
    """Device and controller have scans of their own, so two frames can show one count."""
    frames = [(10, 5, 5)] * (STILL_MAX + 2)
    told = reasons_of(*frames, (11, 5, 5), (11, 5, 5), lockstep=False)
    assert told[: STILL_MAX + 1] == [()] * (STILL_MAX + 1)
    assert told[STILL_MAX + 1] == (f"device's scan counter stands at 10 for {STILL_MAX + 1} scans: device is frozen",)
    assert told[-2:] == [(), ()]


def test_a_counter_that_went_back_is_a_restart_told_once() -> None:
    for lockstep in (True, False):
        told = reasons_of((5000, 100, None), (1, 101, 101), (2, 102, 102), lockstep=lockstep)
        assert len(told[1]) == 1
        assert "went back from 5000 to 1: it restarted" in told[1][0]
        assert told[2] == ()
