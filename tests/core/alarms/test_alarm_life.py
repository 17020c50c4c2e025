"""The life of one alarm over eighteen scans of one trend, in four manners, and each edge on its own."""

from __future__ import annotations

from itertools import product

import pytest

from controller.core.alarms.life import NORMAL, Life, Manner, at_rest, letter, live

LIMIT = 38.0
TREND = (30, 38, 37.8, 38.2, 38.4, 38.6, 38.1, 37.7, 37.4, 37, 38.5, 38.6, 38.7, 37.2, 37, 36.9, 36.8, 36.8)
ACKNOWLEDGED = (5, 15)


def states(manner: Manner, resets: tuple[int, ...] = ()) -> str:
    """One letter a scan of one second."""
    life, letters = NORMAL, ""
    for scan, value in enumerate(TREND):
        life = live(manner, life, value - LIMIT, acknowledge=scan in ACKNOWLEDGED, reset=scan in resets,
                    now_s=float(scan), dt_s=1.0)
        letters += letter(life)
    return letters


@pytest.mark.parametrize(
    ("manner", "resets", "expected"),
    [
        (Manner(deadband=0.5, on_s=2.0), (), "NNNUUAAANNNNURRNNN"),
        (Manner(), (), "NURUUAANNNUUURRNNN"),  # without deadband and delay it chatters: three times for two events
        (Manner(deadband=0.5, off_s=3.0), (), "NUUUUAAAAAAAAAAANN"),
        (Manner(deadband=0.5, on_s=2.0, latch=True, tells_again=False), (14, 17), "NNNUUAAALLLLALNNNN"),
    ],
)
def test_a_trend_gives_these_states(manner: Manner, resets: tuple[int, ...], expected: str) -> None:
    """Worked by hand from the rules: limit 38, acknowledged in scans 5 and 15, counted from 0."""
    assert states(manner, resets) == expected


def test_a_latched_alarm_that_comes_back_is_told_again_unless_its_manner_says_no() -> None:
    manner = Manner(deadband=0.5, on_s=2.0, latch=True)
    assert states(manner, (14, 17)) == "NNNUUAAALLLLULLLLN"


def test_one_that_clears_is_over_when_its_condition_is_though_nobody_acknowledged() -> None:
    assert states(Manner(deadband=0.5, on_s=2.0, clears=True)) == "NNNUUAAANNNNUNNNNN"


@pytest.mark.parametrize("life", [
    Life(beyond, 5.0, active, unacked, latched, 0.0)
    for beyond, active, unacked, latched in product((False, True), repeat=4)
])
@pytest.mark.parametrize("latch", [False, True])
def test_an_unknown_value_changes_nothing_but_the_time(life: Life, latch: bool) -> None:
    """With delays that are not over: neither comes nor goes."""
    manner = Manner(on_s=100.0, off_s=100.0, latch=latch)
    after = live(manner, life, float("nan"), acknowledge=False, reset=False, now_s=9.0, dt_s=1.0)
    assert after == Life(life.beyond, 6.0, life.active, life.unacked, life.latched, life.from_s)


@pytest.mark.parametrize("unacked", [False, True])
@pytest.mark.parametrize("active", [False, True])
def test_reset_releases_a_latch_only_when_it_is_gone_and_acknowledged(active: bool, unacked: bool) -> None:
    life = Life(active, 5.0, active, unacked, True, 0.0)
    excess = 1.0 if active else -9.0
    after = live(Manner(latch=True), life, excess, acknowledge=False, reset=True, now_s=9.0, dt_s=1.0)
    assert after.latched is (active or unacked)


def test_acknowledge_counts_before_reset_in_one_scan() -> None:
    life = Life(False, 5.0, False, True, True, 0.0)
    assert at_rest(live(Manner(latch=True), life, -9.0, acknowledge=True, reset=True, now_s=9.0, dt_s=1.0))


def test_it_remembers_when_its_condition_began_not_when_it_was_told() -> None:
    life = NORMAL
    for second in range(10, 16):
        life = live(Manner(on_s=5.0), life, 1.0, acknowledge=False, reset=False, now_s=float(second), dt_s=1.0)
    assert (letter(life), life.from_s) == ("U", 10.0)


def test_at_the_end_of_its_deadband_it_still_stands_and_below_it_is_over() -> None:
    life = Life(True, 5.0, True, False, False, 3.0)
    for excess, stands in ((-0.5, True), (-0.501, False)):
        after = live(Manner(deadband=0.5), life, excess, acknowledge=False, reset=False, now_s=9.0, dt_s=1.0)
        assert after == Life(stands, 6.0 if stands else 0.0, stands, False, False, 3.0)
        assert after.active is stands
