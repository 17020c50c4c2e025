"""Floods and chatter over sliding windows, and the figures of a span."""

from __future__ import annotations

import pytest

from controller.core.alarms.figures import Occurrence, figures, most_within
from controller.core.alarms.rate import QUIET, Rate, count
from controller.core.frames import Event


def told(times_s: list[float], until_s: float, tag: str = "") -> list[tuple[float, str]]:
    """When what was told, for alarms (each its own, or all of one tag) that come at whole seconds."""
    rate: Rate = QUIET
    found: list[tuple[float, str]] = []
    for second in range(int(until_s) + 1):
        came = tuple(tag or f"t{number}" for number, at_s in enumerate(times_s) if at_s == second)
        rate, events = count(rate, came, float(second))
        found += [(float(second), what(event)) for event in events]
    return found


def what(event: Event) -> str:
    return str(dict(event.data)["what"])


def test_eleven_within_ten_minutes_are_a_flood_until_fewer_than_five_are_left() -> None:
    """Alarms every 55 s from 300 s on: no aligned ten minutes has more than ten, the sliding window sees eleven."""
    times = [300.0 + 55.0 * n for n in range(11)]
    assert times[-1] == 850.0
    assert told(times, 1500.0) == [(850.0, "flood begins"), (1230.0, "flood ends")]


def test_ten_are_none() -> None:
    assert told([300.0 + 55.0 * n for n in range(10)], 1500.0) == []


@pytest.mark.parametrize(("times", "chatters"), [([0.0, 25.0, 59.0], True), ([0.0, 30.0, 60.0], False)])
def test_three_times_within_a_minute_is_chatter_the_end_of_the_minute_not_counted(
    times: list[float], chatters: bool
) -> None:
    assert bool(told(times, 200.0, tag="spread-high")) is chatters


def test_different_alarms_do_not_chatter_together() -> None:
    assert told([0.0, 10.0, 20.0], 100.0) == []


def test_chatter_is_told_once_as_long_as_it_lasts() -> None:
    assert told([float(n) for n in range(0, 200, 10)][:10], 400.0, tag="a") == [(20.0, "chatters")]


def test_it_is_the_quiet_one_again_when_all_is_old() -> None:
    rate, _ = count(QUIET, ("a",), 0.0)
    assert count(rate, (), 599.0)[0] is rate
    assert count(rate, (), 600.0)[0] is QUIET


def occurrences(times: list[float], tag: str = "", priority: str = "low") -> list[Occurrence]:
    return [Occurrence(tag or f"t{n}", priority, at_s, at_s + 1.0) for n, at_s in enumerate(times)]


def test_figures_see_the_window_that_aligned_buckets_miss() -> None:
    found = figures(occurrences([300.0 + 55.0 * n for n in range(11)]), 0.0, 6000.0)
    assert (found.alarms, found.most_in_10_min, found.busy_pct) == (11, 11, 0.0)
    assert found.per_10_min == pytest.approx(1.1)
    assert found.flood_pct == pytest.approx(100.0 * (1230.0 - 850.0) / 6000.0)


def test_empty_buckets_count_and_a_bad_one_is_a_share() -> None:
    found = figures(occurrences([float(n) for n in range(11)]), 0.0, 6000.0)
    assert found.busy_pct == pytest.approx(10.0)


def test_a_flood_that_lasts_ends_with_the_span() -> None:
    found = figures(occurrences([5990.0 + 0.5 * n for n in range(11)]), 0.0, 6000.0)
    assert found.flood_pct == pytest.approx(100.0 * 5.0 / 6000.0)


def test_frequent_stale_and_chattering_alarms_are_named() -> None:
    many = occurrences([0.0, 25.0, 59.0], "a", "high") + occurrences([100.0], "b")
    old = [Occurrence("c", "medium", 10.0, None), Occurrence("d", "medium", 10.0, 86_410.0)]
    found = figures(many + old, 0.0, 100_000.0)
    assert found.top[0] == ("a", 3)
    assert found.chattering == ("a",)
    assert found.stale == ("c",)
    assert found.priority_pct == pytest.approx((100.0 / 6.0, 200.0 / 6.0, 50.0))


def test_a_span_without_length_is_refused() -> None:
    with pytest.raises(ValueError, match="no length"):
        figures([], 5.0, 5.0)


def test_only_what_came_in_the_span_counts() -> None:
    assert figures(occurrences([0.0, 10.0, 20.0]), 10.0, 20.0).alarms == 1
    assert most_within([], 60.0) == 0


def test_floods_and_chatter_in_their_words() -> None:
    rate, events = count(QUIET, tuple(f"t{n}" for n in range(11)), 0.0)
    assert events == (
        Event("alarm", "flood", "alarm flood: more than 10 within ten minutes",
              (("what", "flood begins"), ("alarms", 11))),
    )
    assert count(rate, (), 600.0) == (
        QUIET, (Event("alarm", "flood", "alarm flood over", (("what", "flood ends"), ("alarms", 0))),)
    )
    rate, events = count(QUIET, ("a", "b", "a", "a"), 0.0)
    assert events == (Event("alarm", "a", "a chatters: 3 times within 60 s", (("what", "chatters"),)),)
    assert rate == Rate(((0.0, "a"), (0.0, "b"), (0.0, "a"), (0.0, "a")), False, ("a",))


def test_of_a_long_flood_the_latest_are_remembered() -> None:
    rate, _events = count(QUIET, tuple(f"t{n}" for n in range(70)), 5.0)
    assert [tag for _at_s, tag in rate.recent] == [f"t{n}" for n in range(6, 70)]
    assert rate.flood
