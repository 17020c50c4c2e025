"""Deadlines are absolute, missed ones are left out, simulated UTC is start plus scans."""

from __future__ import annotations

import time

import pytest

from controller.runtime.clock import LockstepClock, PacedClock, RealClock


@pytest.fixture
def now(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """A monotonic clock in seconds that moves only by sleeping."""
    at = [100.0]
    monkeypatch.setattr(time, "monotonic_ns", lambda: round(1e9 * at[0]))

    def sleep(seconds: float) -> None:
        at[0] += seconds

    monkeypatch.setattr(time, "sleep", sleep)
    return at


def test_lockstep_stamps_simulated_utc_and_never_waits(now: list[float]) -> None:
    clock = LockstepClock(5_000, 0.5)
    assert [clock.wait(), clock.utc_ms(0), clock.utc_ms(3), now[0]] == [0.0, 5000, 6500, 100.0]


def test_real_time_keeps_its_grid_when_one_scan_is_late(now: list[float]) -> None:
    clock = RealClock(1.0)
    assert clock.wait() == 0.0
    now[0] += 0.3
    assert clock.wait() == pytest.approx(0.0, abs=1e-9)
    assert now[0] == pytest.approx(101.0)
    now[0] += 1.25  # the scan took longer than its second
    assert clock.wait() == pytest.approx(0.25)
    assert clock.missed == 0
    clock.wait()
    assert now[0] == pytest.approx(103.0)


def test_real_time_leaves_missed_deadlines_out_and_counts_them(now: list[float]) -> None:
    clock = RealClock(1.0)
    clock.wait()
    now[0] += 10.4
    assert clock.wait() == pytest.approx(9.4)
    assert clock.missed == 9
    clock.wait()
    assert now[0] == pytest.approx(111.0)


def test_pace_divides_the_scan_and_stamps_simulated_utc(now: list[float]) -> None:
    clock = PacedClock(0, 1.0, 100.0)
    for _scan in range(101):
        clock.wait()
    assert now[0] == pytest.approx(101.0)
    assert clock.utc_ms(100) == 100_000
    assert clock.lockstep
