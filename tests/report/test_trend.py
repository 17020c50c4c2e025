"""Trends keep every peak, leave gaps open and add up."""

from __future__ import annotations

import math

import pytest

from controller.report.trend import running_total, trend
from controller.store.reader import MinuteRow

HOUR_MS = 3_600_000


def minutes(*means: float, first: int = 0) -> list[MinuteRow]:
    return [MinuteRow(60_000 * (first + n), mean - 1.0, mean, mean + 1.0, 0) for n, mean in enumerate(means)]


def test_few_minutes_stay_as_they_are() -> None:
    found = trend(minutes(1.0, 2.0, 3.0), 0)
    assert found.mean == [1.0, 2.0, 3.0]
    assert found.hours == pytest.approx([0.5 / 60, 1.5 / 60, 2.5 / 60])


def test_a_peak_of_one_minute_survives_the_folding() -> None:
    means = [20.0] * 2880
    means[1234] = 99.0
    means[2000] = -5.0
    found = trend(minutes(*means), 0)
    assert len(found.hours) == 480
    assert max(found.greatest) == 100.0
    assert min(found.least) == -6.0
    assert found.hours[-1] < 48.0


def test_where_minutes_are_missing_the_line_is_broken() -> None:
    found = trend([*minutes(1.0, 2.0), *minutes(3.0, 4.0, first=90)], 0)
    assert [math.isnan(value) for value in found.mean] == [False, False, True, False, False]
    assert found.hours[2] == pytest.approx(2 / 60)


def test_what_is_not_known_does_not_hide_what_is() -> None:
    found = trend([MinuteRow(0, math.nan, math.nan, math.nan, 2), *minutes(3.0, 3.0, first=1)], 0, points=1)
    assert (found.least, found.mean, found.greatest) == ([2.0], [3.0], [4.0])


def test_a_power_adds_up_to_energy() -> None:
    """6 kW over 2 h are 12 kWh; an hour that is not known adds nothing."""
    rows = [*minutes(*[6.0] * 60), *minutes(*[math.nan] * 60, first=60), *minutes(*[6.0] * 60, first=120)]
    assert running_total(rows, 0).mean[-1] == pytest.approx(12.0)


def test_nothing_gives_nothing() -> None:
    assert trend([], 0) == ([], [], [], [])
    assert running_total([], 0) == ([], [], [], [])
