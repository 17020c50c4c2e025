"""Who is on call: shifts in local time through the nights in which clocks change, absences, zones, and no gaps."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.callout.plan import Away, Plan, Shift
from controller.callout.roster import gaps, moment, on_duty, resolve, spans, within

MINUTE_MS = 60_000
# The tables of time zones say: summer time in the European Union begins and ends at 01:00 UTC on the last Sunday of
# March and October; in the United States at 02:00 local time on the second Sunday of March and first of November; on
# Lord Howe Island by half an hour.
TABLES = "published: IANA time zone database, rules EU, US and LH, as compiled in tzdata"


@pytest.mark.outside(TABLES)
@pytest.mark.parametrize(
    ("day", "clock", "zone", "expected"),
    [
        ("2026-03-28", "02:30", "Europe/Berlin", "2026-03-28T01:30"),
        ("2026-03-29", "01:59", "Europe/Berlin", "2026-03-29T00:59"),
        ("2026-03-29", "02:30", "Europe/Berlin", "2026-03-29T01:00"),  # left out: the jump itself
        ("2026-03-29", "03:00", "Europe/Berlin", "2026-03-29T01:00"),
        ("2026-10-25", "02:30", "Europe/Berlin", "2026-10-25T00:30"),  # twice: the first
        ("2026-10-25", "03:00", "Europe/Berlin", "2026-10-25T02:00"),
        ("2026-03-08", "02:30", "America/New_York", "2026-03-08T07:00"),
        ("2026-11-01", "01:30", "America/New_York", "2026-11-01T05:30"),
        ("2026-10-04", "02:15", "Australia/Lord_Howe", "2026-10-03T15:30"),  # from +10:30 to +11:00
        ("2026-07-01", "06:00", "Asia/Kathmandu", "2026-07-01T00:15"),
    ],
)
def test_a_time_of_day_is_the_moment_at_which_clocks_show_it(day: str, clock: str, zone: str, expected: str) -> None:
    found = moment(date.fromisoformat(day), clock, zone)
    assert found.strftime("%Y-%m-%dT%H:%M") == expected


@pytest.mark.parametrize(("day", "hours"), [("2026-03-27", 8), ("2026-03-28", 7), ("2026-10-24", 9)])
def test_a_night_shift_is_an_hour_shorter_or_longer_when_clocks_change(plan: Plan, day: str, hours: int) -> None:
    (begin, end), *_ = spans(plan, plan.shifts[1], date.fromisoformat(day), 1)
    assert end - begin == timedelta(hours=hours)


@pytest.mark.parametrize(
    ("night", "at_min"), [("2026-03-28T18:00", [180, 420]), ("2026-10-24T18:00", [120, 390])]
)
def test_somebody_and_only_one_is_on_call_in_every_minute_of_such_a_night(
    plan: Plan, utc_of: Callable[[str], int], night: str, at_min: list[int]
) -> None:
    """Goal: a change of shift inside the hour that is left out, or comes twice, leaves no gap and no overlap."""
    shifts = (
        Shift(name="one", people=("anna",), begin="22:00", end="02:30"),
        Shift(name="two", people=("ben",), begin="02:30", end="22:00"),
    )
    split = replace(plan, shifts=shifts)
    found = [on_duty(split, utc_of(night) + minute * MINUTE_MS) for minute in range(14 * 60)]
    assert set(found) == {("anna",), ("ben",)}
    changes = [number for number in range(1, len(found)) if found[number] != found[number - 1]]
    assert changes == at_min  # 22:00 local time, and the change in the night
    assert not gaps(split, utc_of(night), days=2)


ZONES = ["Europe/Berlin", "America/New_York", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC",
         "America/Santiago", "Africa/Casablanca", "Pacific/Apia"]
CLOCKS = st.builds(lambda hour, minute: f"{hour:02d}:{minute:02d}", st.integers(0, 23), st.integers(0, 59))


@given(
    zone=st.sampled_from(ZONES), first=CLOCKS, second=CLOCKS,
    moment_min=st.integers(29_000_000, 30_500_000),
)
def test_two_shifts_that_meet_cover_every_minute_once_in_any_zone(
    zone: str, first: str, second: str, moment_min: int
) -> None:
    """Also where both ends fall into the jump of a spring night: then one of them has no length."""
    if first == second:
        return
    shifts = (
        Shift(name="one", people=("a",), begin=first, end=second),
        Shift(name="two", people=("b",), begin=second, end=first),
    )
    plan: Any = Plan(name="x", zone=zone, people=(), rules=(), shifts=shifts)
    assert len(on_duty(plan, moment_min * MINUTE_MS)) == 1


def test_a_shift_may_have_a_zone_of_its_own(plan: Plan, utc_of: Callable[[str], int]) -> None:
    """A stand-by in another country: 06:00 to 22:00 in Kathmandu is 00:15 to 16:15 UTC."""
    there = replace(plan, shifts=(replace(plan.shifts[0], zone="Asia/Kathmandu"),))
    assert on_duty(there, utc_of("2026-07-01T00:14")) == ()
    assert on_duty(there, utc_of("2026-07-01T00:15")) == ("anna",)
    assert on_duty(there, utc_of("2026-07-01T16:14")) == ("anna",)
    assert on_duty(there, utc_of("2026-07-01T16:15")) == ()


def test_a_night_shift_of_friday_goes_on_into_saturday(plan: Plan, utc_of: Callable[[str], int]) -> None:
    friday = replace(plan, shifts=(replace(plan.shifts[1], days=("fri",)),))
    assert on_duty(friday, utc_of("2026-03-06T20:59")) == ()
    assert on_duty(friday, utc_of("2026-03-06T21:00")) == ("ben",)
    assert on_duty(friday, utc_of("2026-03-07T04:59")) == ("ben",)
    assert on_duty(friday, utc_of("2026-03-07T05:00")) == ()
    assert on_duty(friday, utc_of("2026-03-07T21:30")) == ()


def test_who_is_away_is_not_called_on_those_local_days(plan: Plan, utc_of: Callable[[str], int]) -> None:
    gone = replace(plan, away=(Away(person="ben", first_day="2026-03-02", last_day="2026-03-03"),))
    assert resolve(gone, ("duty",), utc_of("2026-03-02T22:00")) == ()
    assert resolve(gone, ("everybody",), utc_of("2026-03-02T22:00")) == ("anna", "cleo")
    assert resolve(gone, ("duty", "ben"), utc_of("2026-03-03T23:00")) == ("ben",)  # it is the 4th in Berlin


def test_each_person_is_named_once_in_the_order_of_the_step(plan: Plan, utc_of: Callable[[str], int]) -> None:
    assert resolve(plan, ("cleo", "duty", "everybody"), utc_of("2026-03-02T12:00")) == ("cleo", "anna", "ben")


def test_gaps_are_found_with_absences_and_joined(plan: Plan, utc_of: Callable[[str], int]) -> None:
    holes = gaps(replace(plan, away=(Away(person="ben", first_day="2026-03-04", last_day="2026-03-04"),)),
                 utc_of("2026-03-02T12:00"))
    assert [(hole.begin.isoformat(), hole.end.isoformat()) for hole in holes] == [
        ("2026-03-03T23:00:00+00:00", "2026-03-04T05:00:00+00:00"),  # midnight to 06:00 local time
        ("2026-03-04T21:00:00+00:00", "2026-03-04T23:00:00+00:00"),
    ]


def test_hours_may_go_over_midnight(utc_of: Callable[[str], int]) -> None:
    inside = [within("20:00", "06:00", "Europe/Berlin", utc_of(f"2026-03-02T{hour:02d}:00")) for hour in range(24)]
    assert inside == [not 5 <= hour < 19 for hour in range(24)]
    assert within("", "", "Europe/Berlin", 0)


def test_zones_are_known_without_the_tables_of_the_system() -> None:
    """Goal: the package with the tables is enough. Method: a process whose search path for tables is empty."""
    code = (
        "from datetime import date; from controller.callout.roster import moment;"
        "print(moment(date(2026, 3, 29), '02:30', 'Europe/Berlin').isoformat())"
    )
    environment = {**os.environ, "PYTHONTZPATH": ""}
    done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=False)
    assert done.stdout.strip() == "2026-03-29T01:00:00+00:00", done.stderr
