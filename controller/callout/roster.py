"""Who is on call now: shifts in local time, with the nights in which clocks change.

A time of day that a spring night leaves out is the moment at which clocks jump; one that an autumn night has twice is
its first. Begin and end are worked out in the same way, so one shift ends where the next begins, whatever the night.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from itertools import pairwise
from zoneinfo import ZoneInfo

from controller.callout.plan import DAYS, DUTY, EVERYBODY, Plan, Shift

DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Gap:
    """A time in which no shift has anybody."""

    begin: datetime
    end: datetime


def utc(now_ms: int) -> datetime:
    """A moment from milliseconds since 1970."""
    return datetime.fromtimestamp(now_ms / 1000.0, UTC)


def moment(day: date, clock: str, zone: str) -> datetime:
    """The moment at which a wall clock shows HH:MM on a day, in UTC."""
    wall = datetime.combine(day, time.fromisoformat(clock), tzinfo=zone_of(zone))
    there = wall.astimezone(UTC)
    # A time that the clock leaves out comes back as another one, later by the jump: then it is the jump itself.
    later = there.astimezone(zone_of(zone))
    if later.replace(tzinfo=None) != wall.replace(tzinfo=None):
        there = _jump(there - DAY, there, zone_of(zone))
    return there


@lru_cache(maxsize=64)
def zone_of(name: str) -> ZoneInfo:
    """A zone of the IANA tables. Raises ZoneInfoNotFoundError or ValueError for a name that is none."""
    return ZoneInfo(name)


def on_duty(plan: Plan, now_ms: int) -> tuple[str, ...]:
    """Keys of the people who are on call and not away, each once, in the order of the shifts."""
    now = utc(now_ms)
    return present(plan, [key for shift in plan.shifts if _covers(plan, shift, now) for key in shift.people], now_ms)


def present(plan: Plan, keys: Iterable[str], now_ms: int) -> tuple[str, ...]:
    """Those of these people who are not away today, each once."""
    today = utc(now_ms).astimezone(zone_of(plan.zone)).date().isoformat()
    gone = {away.person for away in plan.away if away.first_day <= today <= away.last_day}
    return tuple(dict.fromkeys(key for key in keys if key not in gone))


def resolve(plan: Plan, who: tuple[str, ...], now_ms: int) -> tuple[str, ...]:
    """The people that a step names, now; empty when nobody is there."""
    found: list[str] = []
    for name in who:
        if name == DUTY:
            found += on_duty(plan, now_ms)
        elif name == EVERYBODY:
            found += [person.key for person in plan.people]
        else:
            found.append(name)
    return present(plan, found, now_ms)


def within(begin: str, end: str, zone: str, now_ms: int) -> bool:
    """Is it between these times of day? "" = at any time; an end at or before begin lies on the next day."""
    if not begin:
        return True
    now = utc(now_ms)
    today = now.astimezone(zone_of(zone)).date()
    return any(_begin_end(day, begin, end, zone)[0] <= now < _begin_end(day, begin, end, zone)[1]
               for day in (today - DAY, today, today + DAY))


def spans(plan: Plan, shift: Shift, first: date, days: int) -> Iterator[tuple[datetime, datetime]]:
    """Begin and end of a shift, in UTC, for each of its days."""
    zone = shift.zone or plan.zone
    for number in range(days):
        day = first + timedelta(days=number)
        if DAYS[day.weekday()] in shift.days:
            yield _begin_end(day, shift.begin, shift.end, zone)


def gaps(plan: Plan, now_ms: int, days: int = 7) -> list[Gap]:
    """Times within the coming days in which nobody is on call; people who are away do not count."""
    begin = utc(now_ms)
    end = begin + timedelta(days=days)
    today = begin.astimezone(zone_of(plan.zone)).date()
    edges = {begin, end}
    for shift in plan.shifts:
        for pair in spans(plan, shift, today - 2 * DAY, days + 4):
            edges.update(pair)
    for number in range(days + 2):
        edges.add(moment(today + timedelta(days=number), "00:00", plan.zone))
    ordered = sorted(edge for edge in edges if begin <= edge <= end)
    found: list[Gap] = []
    for since, until in pairwise(ordered):
        if on_duty(plan, round(since.timestamp() * 1000)):
            continue
        if found and found[-1].end == since:
            found[-1] = Gap(found[-1].begin, until)
        else:
            found.append(Gap(since, until))
    return found


def _covers(plan: Plan, shift: Shift, now: datetime) -> bool:
    today = now.astimezone(zone_of(shift.zone or plan.zone)).date()
    return any(begin <= now < end for begin, end in spans(plan, shift, today - DAY, 3))


def _begin_end(day: date, begin: str, end: str, zone: str) -> tuple[datetime, datetime]:
    return moment(day, begin, zone), moment(day + DAY if end <= begin else day, end, zone)


def _jump(low: datetime, high: datetime, zone: ZoneInfo) -> datetime:
    """The second at which the zone's offset changes between two moments."""
    before = low.astimezone(zone).utcoffset()
    while high - low > timedelta(seconds=1):
        middle = low + timedelta(seconds=int((high - low).total_seconds()) // 2)
        if middle.astimezone(zone).utcoffset() == before:
            low = middle
        else:
            high = middle
    return high
