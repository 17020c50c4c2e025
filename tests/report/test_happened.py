"""What happened is found in journal, frames and minutes."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest

from controller.report.recorded import opened
from controller.report.surface import Stretch, limiting, shares


def test_doors_are_read_from_the_contacts_in_the_frames(troubled: Any) -> None:
    (door,) = troubled.facts["what"].doors
    assert door.text == "door of bay 2"
    assert (door.from_h, door.to_h) == pytest.approx((150 * 2 / 3600, 240 * 2 / 3600))


def test_alarms_trips_and_orders_are_those_of_the_journal(troubled: Any) -> None:
    what = troubled.facts["what"]
    (alarm,) = what.alarms
    assert (alarm.from_h, alarm.to_h) == pytest.approx((180 * 2 / 3600, 250 * 2 / 3600))
    assert (alarm.priority, alarm.action) == ("high", "close it")
    assert [(trip.text, trip.at_h) for trip in what.trips] == [("high limiter: tripped", pytest.approx(0.15))]
    assert what.first_out == ["limiter"]
    assert [(order.text, order.who) for order in what.orders] == [("start, done", "anna")]
    assert [line.text for line in what.link] == ["no answer from the panel"]
    assert len(what.outages) == 1


def test_what_was_overridden_and_tested_stands_in_the_page(troubled: Any) -> None:
    """With begin, end and name; the override makes the cycle deviate."""
    (work,) = troubled.facts["what"].work
    assert (work.text, work.who) == ("done: calibration, by anna: all well", "anna")
    (entry,) = troubled.facts["by_hand"]
    assert entry.text == "TT-110 forced at 20, by anna: trial"
    assert (entry.from_h, entry.to_h) == pytest.approx((280 * 2 / 3600, 599 * 2 / 3600))
    assert "overridden by hand: TT-110 forced" in troubled.facts["summary"]["reasons"]
    assert "calibration, by anna: all well" in troubled.page
    assert "TT-110 forced at 20" in troubled.page


def test_poor_readings_are_counted_by_channel(troubled: Any, day: Any) -> None:
    """One of 38 channels is bad in one of 20 minutes."""
    what = troubled.facts["what"]
    assert what.good_pct == pytest.approx(100.0 * (1.0 - 1.0 / (38 * 20)))
    assert [(channel.tag, channel.minutes) for channel in what.worst] == [("TT-101A", 1)]
    assert day.facts["what"].good_pct == 100.0


def test_a_calm_day_has_no_trouble(day: Any) -> None:
    what = day.facts["what"]
    assert (what.doors, what.trips, what.outages, what.link) == ([], [], [], [])


def test_some_surface_limits_at_all_times(day: Any) -> None:
    with opened(day.record) as recorded:
        stretches = limiting(recorded)
    assert stretches[0].from_h == pytest.approx(0.0, abs=0.02)
    assert stretches[-1].to_h == pytest.approx(24.0, abs=0.05)
    assert all(one.to_h == pytest.approx(next_.from_h) for one, next_ in pairwise(stretches))


def test_shares_of_surfaces_by_hand() -> None:
    found = shares([Stretch(0.0, 1.0, "ceiling"), Stretch(1.0, 4.0, "board"), Stretch(4.0, 5.0, "ceiling")])
    assert found == [("board", pytest.approx(60.0)), ("ceiling", pytest.approx(40.0))]


def test_a_cycle_without_moves_has_no_charge_table(day: Any) -> None:
    assert day.facts["charged"] == []
    assert "Charge table" not in day.page
