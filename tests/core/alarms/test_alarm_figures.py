"""Figures of a span that does not begin at nought, windows at their edges, and tags in their order."""

from __future__ import annotations

import pytest

from controller.core.alarms.figures import Occurrence, figures, most_within


def came(*times_s: float, tag: str = "", priority: str = "low") -> list[Occurrence]:
    return [Occurrence(tag or f"t{n}", priority, at_s, at_s + 1.0) for n, at_s in enumerate(times_s)]


def many(count: int, from_s: float, step_s: float = 1.0) -> list[Occurrence]:
    return came(*[from_s + step_s * n for n in range(count)])


def test_a_span_counts_from_its_own_begin() -> None:
    """Eleven from 6300 s on, in a span from 6000 to 9000 s: one of its five buckets, a flood from 6310 to 6907 s."""
    found = figures(many(11, 6300.0), 6000.0, 9000.0)
    assert found.per_10_min == pytest.approx(11.0 / 5.0)
    assert found.busy_pct == pytest.approx(20.0)
    assert found.flood_pct == pytest.approx(100.0 * (6300.0 + 6.0 + 600.0 - 6310.0) / 3000.0)


def test_buckets_stand_at_the_begin_of_the_span() -> None:
    """From 300 s before to 300 s after 1000 s: within one bucket of a span from 700 s, in two of one from 400 s."""
    alarms = many(12, 950.0, 9.0)
    assert figures(alarms, 700.0, 1900.0).busy_pct == pytest.approx(50.0)
    assert figures(alarms, 400.0, 1600.0).busy_pct == 0.0


@pytest.mark.parametrize(("count", "busy_pct"), [(10, 0.0), (11, 100.0)])
def test_ten_in_ten_minutes_are_not_too_many(count: int, busy_pct: float) -> None:
    assert figures(many(count, 10.0), 0.0, 600.0).busy_pct == busy_pct


@pytest.mark.parametrize(("to_s", "busy_pct"), [(300.0, 100.0), (600.0, 100.0), (601.0, 50.0), (1800.0, 100.0 / 3.0)])
def test_a_bucket_that_is_not_full_counts_as_one(to_s: float, busy_pct: float) -> None:
    assert figures(many(11, 10.0), 0.0, to_s).busy_pct == pytest.approx(busy_pct)


@pytest.mark.parametrize(
    ("times_s", "most"),
    [
        ((), 0), ((5.0,), 1), ((0.0, 60.0), 1), ((0.0, 59.9), 2), ((0.0, 30.0, 60.0, 90.0), 2),
        ((0.0, 1.0, 2.0, 100.0, 101.0), 3), ((0.0, 1.0, 100.0, 101.0, 102.0, 103.0), 4),
        ((0.0, 10.0, 20.0, 65.0, 66.0, 200.0, 201.0), 4),
    ],
)
def test_the_most_within_any_half_open_minute(times_s: tuple[float, ...], most: int) -> None:
    assert most_within(times_s, 60.0) == most


def test_one_exactly_a_window_old_counts_no_more_for_a_flood() -> None:
    """Ten from nought on and one at 600 s: the first has just left."""
    assert figures(came(*[float(n) for n in range(10)], 600.0), 0.0, 6000.0).flood_pct == 0.0
    assert figures(came(*[float(n) for n in range(10)], 599.9), 0.0, 6000.0).flood_pct > 0.0


def test_a_flood_lasts_from_the_alarm_that_began_it() -> None:
    """Fourteen a second apart: begun by the eleventh, over when only four are left, 600 s after the tenth."""
    found = figures(many(14, 100.0), 0.0, 3000.0)
    assert found.flood_pct == pytest.approx(100.0 * (109.0 + 600.0 - 110.0) / 3000.0)


def test_the_most_frequent_come_first_then_by_name_ten_at_most() -> None:
    alarms = [one for n in range(12) for one in came(*[99.0 - n] * (3 if n in (4, 7) else 1), tag=f"t{n:02d}")]
    top = figures(alarms[::-1], 0.0, 600.0).top
    assert top == (("t04", 3), ("t07", 3), *[(f"t{n:02d}", 1) for n in (0, 1, 2, 3, 5, 6, 8, 9)])


def test_of_one_alarm_all_are_of_its_priority() -> None:
    assert figures(came(1.0, priority="high"), 0.0, 600.0).priority_pct == (0.0, 0.0, 100.0)
    assert figures([], 0.0, 600.0).priority_pct == (0.0, 0.0, 0.0)


def test_the_begin_of_a_span_belongs_to_it_and_its_end_does_not() -> None:
    assert figures(came(100.0, 700.0), 100.0, 700.0).alarms == 1
