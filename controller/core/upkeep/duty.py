"""What people have to do from time to time, as data: tests, calibrations, service, hygiene of the fog water.

An item becomes due by the calendar, by the hours of a drive, by a drive that stood still for too long, or by a reading;
it stays due until somebody says that it is done. What is due is a list and a line in the journal; only what is overdue
is an alarm. Whether something was really done no program can see.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le, Len

from controller.core.binding import Binder
from controller.core.frames import Command, Event
from controller.core.upkeep.wear import Drive

EVERY_S = 300.0  # so often it is looked at
NOTE_MAX = 500
_DAY_S = 86_400.0
Name = Annotated[str, Len(1, 200)]


@dataclass(frozen=True, slots=True, kw_only=True)
class DutyItem:
    """One [[duty]]. Exactly one of every_days, run_h, idle_h and reading says when it is due.

    run_h, idle_h: of `drive`, one of [wear] drives: so long it has run since it was done last, or has not run.
    reading with above or below: due while the reading is there, once for each time. every_days counts from the last
    time it was done, from `last` (a date like 2026-03-01, of the time before this record), or else from the beginning
    of the record. grace_h: so long after it became due it is overdue, which is alarmed. blocks: what stays off from
    when it is due until it is done (protection's row "fog-stale").
    """

    tag: Annotated[str, Len(1, 40)]
    text: Name
    action: Name
    kind: Literal["test", "calibration", "service", "hygiene"]
    every_days: Annotated[float, Gt(0), Le(4000)] | None = None
    run_h: Annotated[float, Gt(0), Le(200_000)] | None = None
    idle_h: Annotated[float, Gt(0), Le(10_000)] | None = None
    drive: str = ""
    reading: str = ""
    above: float | None = None
    below: float | None = None
    last: Annotated[str, Len(0, 10)] = ""
    grace_h: Annotated[float, Ge(0), Le(10_000)] = 24.0
    blocks: tuple[Literal["fog"], ...] = ()


@dataclass(frozen=True, slots=True)
class Done:
    """The last time an item was done: when (time since the record began), by whom, and the drive's hours then."""

    tag: str
    at_s: float
    who: str
    role: str
    note: str
    on_s: float


@dataclass(frozen=True, slots=True)
class DutyState:
    """due: (tag, since when) of what is due. overdue: tags of it that are. passed: items by a reading that were done
    while the reading was still there. stale: does something that is due keep fog off? epoch_s: UTC of the record's
    beginning, s; None where there is no calendar.
    """

    next_s: float = 0.0
    done: tuple[Done, ...] = ()
    due: tuple[tuple[str, float], ...] = ()
    overdue: tuple[str, ...] = ()
    passed: tuple[str, ...] = ()
    epoch_s: float | None = None
    stale: bool = False


@dataclass(frozen=True, slots=True)
class DutyPlan:
    """Items with their column of a reading (-1) and number of a drive (-1); last_s: UTC of `last`, None where none."""

    items: tuple[DutyItem, ...]
    columns: tuple[int, ...]
    drives: tuple[int, ...]
    last_s: tuple[float | None, ...]


def bind(items: tuple[DutyItem, ...], binder: Binder, drives: Sequence[str]) -> DutyPlan:
    """Tags to columns; what does not fit is refused through the binder."""
    columns, numbers, last = [], [], []
    seen: set[str] = set()
    for place, item in enumerate(items):
        where = f"duty[{place}]"
        if item.tag in seen:
            binder.refuse(f"{where}.tag", item.tag, "is the tag of another item", "give every item its own tag")
        seen.add(item.tag)
        ways = [way for way in ("every_days", "run_h", "idle_h") if getattr(item, way) is not None]
        ways += ["reading"] if item.reading else []
        if len(ways) != 1:
            said = " and ".join(ways) or "nothing"
            binder.refuse(where, said, "exactly one of every_days, run_h, idle_h, reading", "say when it is due")
        if (item.run_h is not None or item.idle_h is not None) and item.drive not in drives:
            known = ", ".join(drives) or "none"
            binder.refuse(f"{where}.drive", item.drive, f"must be one of [wear] drives: {known}", "add it there")
        if item.reading and (item.above is None) == (item.below is None):
            binder.refuse(f"{where}.reading", item.reading, "needs either above or below", "give one of them")
        columns.append(binder.column(f"{where}.reading", item.reading) if item.reading else -1)
        numbers.append(list(drives).index(item.drive) if item.drive in drives else -1)
        last.append(_date_s(item.last))
        if item.last and last[-1] is None:
            binder.refuse(f"{where}.last", item.last, "must be a date like 2026-03-01", "correct it")
    return DutyPlan(items, tuple(columns), tuple(numbers), tuple(last))


def look(
    plan: DutyPlan, state: DutyState, values: Sequence[float], drives: Sequence[Drive], now_s: float
) -> tuple[DutyState, tuple[Event, ...]]:
    """What is due now, and a line for each item that has just become so. Asked every EVERY_S, and after an order."""
    before, due, passed = dict(state.due), [], []
    events = []
    for number, item in enumerate(plan.items):
        is_due, there = _is_due(plan, state, number, values, drives, now_s)
        if there and item.tag in state.passed:
            passed.append(item.tag)
            continue
        if is_due:
            due.append((item.tag, before.get(item.tag, now_s)))
            if item.tag not in before:
                events.append(_told(item, "due", f"due: {item.text}; {item.action}"))
    overdue = tuple(
        tag for tag, since_s in due if now_s - since_s >= next(i.grace_h for i in plan.items if i.tag == tag) * 3600.0
    )
    tags = {tag for tag, _since_s in due}
    stale = any("fog" in item.blocks and item.tag in tags for item in plan.items)
    after = replace(
        state, next_s=now_s + EVERY_S, due=tuple(due), overdue=overdue, passed=tuple(passed), stale=stale
    )
    return after, tuple(events)


def obey(
    plan: DutyPlan, state: DutyState, command: Command, drives: Sequence[Drive], now_s: float
) -> tuple[DutyState, str, tuple[Event, ...]]:
    """Somebody says that an item is done: who, in which role, when, with a note. Why it is refused, or what to tell."""
    args = dict(command.args)
    tag, note = str(args.get("item", "")), str(args.get("note", "")).strip()
    found = next((number for number, item in enumerate(plan.items) if item.tag == tag), None)
    if found is None:
        known = ", ".join(item.tag for item in plan.items) or "none"
        return state, f"no item is called {tag!r}: known are {known}", ()
    if len(note) > NOTE_MAX:
        return state, f"the note has {len(note)} characters, at most {NOTE_MAX}", ()
    item, drive = plan.items[found], plan.drives[found]
    done = Done(tag, now_s, command.who, str(args.get("role", "")), note, drives[drive].on_s if drive >= 0 else 0.0)
    others = tuple(one for one in state.done if one.tag != tag)
    due = tuple(one for one in state.due if one[0] != tag)
    passed = (*state.passed, tag) if item.reading and len(due) < len(state.due) else state.passed
    text = f"done: {item.text}, by {command.who}" + (f": {note}" if note else "")
    after = replace(state, done=(*others, done), due=due, passed=passed, next_s=now_s)
    return after, "", (_told(item, "done", text, command.who, done.role, note),)


def next_s(plan: DutyPlan, state: DutyState, number: int) -> float:
    """When an item by the calendar is due next, time since the record began; infinite for the others."""
    item = plan.items[number]
    return inf if item.every_days is None else _since_s(plan, state, number) + item.every_days * _DAY_S


def _is_due(
    plan: DutyPlan, state: DutyState, number: int, values: Sequence[float], drives: Sequence[Drive], now_s: float
) -> tuple[bool, bool]:
    """(is it due, is its reading there). A missing reading (NaN) is not there."""
    item = plan.items[number]
    if item.every_days is not None:
        return now_s >= next_s(plan, state, number), False
    if item.reading:
        value = values[plan.columns[number]]
        there = value > item.above if item.above is not None else value < (item.below or 0.0)
        return there or any(tag == item.tag for tag, _since in state.due), there
    drive = drives[plan.drives[number]]
    done = next((one for one in state.done if one.tag == item.tag), None)
    if item.run_h is not None:
        return drive.on_s - (done.on_s if done else 0.0) >= item.run_h * 3600.0, False
    stood_s = now_s - max(drive.last_s, done.at_s if done else 0.0)
    was_due = any(tag == item.tag for tag, _since in state.due)
    return was_due or stood_s >= (item.idle_h or 0.0) * 3600.0, False


def _since_s(plan: DutyPlan, state: DutyState, number: int) -> float:
    """From when an item by the calendar counts."""
    done = next((one for one in state.done if one.tag == plan.items[number].tag), None)
    if done is not None:
        return done.at_s
    last_s = plan.last_s[number]
    return 0.0 if last_s is None or state.epoch_s is None else last_s - state.epoch_s


def _told(item: DutyItem, what: str, text: str, who: str = "", role: str = "", note: str = "") -> Event:
    return Event("duty", item.tag, text, (
        ("what", what), ("kind", item.kind), ("who", who), ("role", role), ("note", note),
    ))


def _date_s(text: str) -> float | None:
    """UTC midnight of a date, s since 1970; None when it is none. Days after a rule of the Gregorian calendar."""
    parts = text.split("-")
    if [len(part) for part in parts] != [4, 2, 2] or not (text.isascii() and all(part.isdecimal() for part in parts)):
        return None
    year, month, day = map(int, parts)
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    days = (31, 29 if leap else 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    if year < 1970 or not 1 <= month <= 12 or not 1 <= day <= days[month - 1]:
        return None
    leaps = [before // 4 - before // 100 + before // 400 for before in (1969, year - 1)]
    return _DAY_S * (365 * (year - 1970) + leaps[1] - leaps[0] + sum(days[: month - 1]) + day - 1)
