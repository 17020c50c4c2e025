"""What people read at three in the morning: one subject line, then what, by when, and what to do, nothing else first.

Times are local, with the name of the zone. Lines are short enough for a phone held upright where that can be.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, isnan
from textwrap import wrap
from typing import Any

from controller.callout.by_when import Limit, limits
from controller.callout.escalation import Incident, Next
from controller.callout.plan import Plan
from controller.callout.roster import utc, zone_of
from controller.callout.situation import SILENT, Situation, Standing
from controller.core.rows.alarms import ALARMS

WIDTH = 68
SOON_S = 4 * 3600.0  # a limit farther off than this does not belong into a subject line
FAR_S = 24 * 3600.0
NOT_SAFETY = "Dewhold is no safety function: for danger to people follow the rules of the works."
_RANK = {"high": 0, "medium": 1, "low": 2}


@dataclass(frozen=True, slots=True)
class Told:
    """One alarm in a message: where, what, and how far its escalation is."""

    chamber: str
    standing: Standing
    incident: Incident
    following: Next | None


def local(plan: Plan, at_ms: float, now_ms: float | None = None) -> str:
    """HH:MM and the zone, with the day in front when it is not the day of now_ms."""
    there = utc(round(at_ms)).astimezone(zone_of(plan.zone))
    text = there.strftime("%H:%M %Z")
    if now_ms is not None and utc(round(now_ms)).astimezone(zone_of(plan.zone)).date() != there.date():
        return there.strftime("%a %d %b ") + text
    return text


def span(seconds: float) -> str:
    """A length of time as people say it: 40 s, 45 min, 2 h 10 min, 3 days."""
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60.0)
    if minutes < 90:
        return f"{minutes} min"
    if minutes < 48 * 60:
        hours, rest = divmod(minutes, 60)
        return f"{hours} h {rest} min" if rest else f"{hours} h"
    return f"{round(minutes / 1440)} days"


def alarm_subject(told: Sequence[Told], situations: Mapping[str, Situation]) -> str:
    """Chamber, what, by when; of several the most urgent, and how many more."""
    first, *others = ordered(told)
    text = f"{_head(situations[first.chamber])}: {first.standing.row.text}"
    near = [limit for limit in _limits(situations[first.chamber]) if limit.harm and limit.in_s <= SOON_S]
    soonest = next(iter(near), None)
    if soonest is not None:
        text += f", {soonest.what} " + (f"in {span(soonest.in_s)}" if soonest.in_s > 0.0 else "NOW")
    return text + (f" (+{len(others)} more)" if others else "")


def alarm_text(
    plan: Plan, person: str, told: Sequence[Told], situations: Mapping[str, Situation], now_ms: int
) -> str:
    """The whole message of a step or a repeat."""
    parts: list[str] = []
    names = {one.key: one.name for one in plan.people}
    for chamber in dict.fromkeys(one.chamber for one in ordered(told)):
        situation = situations[chamber]
        mine = [one for one in ordered(told) if one.chamber == chamber]
        count = "one alarm needs" if len(mine) == 1 else f"{len(mine)} alarms need"
        parts.append(f"{_head(situation)}: {count} you")
        parts += [_alarm(plan, one, situation, now_ms) for one in mine]
        parts.append(_by_when(plan, situation, now_ms))
        parts.append(_state(plan, situation, now_ms))
    parts.append(_escalation(plan, person, told, names, now_ms))
    parts.append(_closing(plan))
    return "\n\n".join(part for part in parts if part) + "\n"


def end_subject(kind: str, told: Sequence[tuple[str, str]]) -> str:
    """Of an acknowledgement, or an alarm that is over."""
    (chamber, text), *others = told
    word = "acknowledged" if kind == "acknowledged" else "over"
    return f"{chamber}: {word}: {text}" + (f" (+{len(others)} more)" if others else "")


def end_text(
    plan: Plan, kind: str, told: Sequence[tuple[str, str]], situations: Mapping[str, Situation], now_ms: int
) -> str:
    """That nothing more is asked of the person who was told before."""
    lines = []
    for chamber, text in told:
        who = situations[chamber].acknowledged if chamber in situations and kind == "acknowledged" else None
        by = f" by {who[0]}, {local(plan, who[1], now_ms)}" if who else ""
        lines.append(f"{chamber}: {text}: {'acknowledged' + by if kind == 'acknowledged' else 'over by itself'}")
    advice = (
        "Somebody has taken it. You need not do anything more."
        if kind == "acknowledged"
        else "Nobody has acknowledged it. Look at it when you are next there."
    )
    states = [_state(plan, situations[name], now_ms) for name in dict.fromkeys(name for name, _ in told)
              if name in situations]
    return "\n\n".join(["\n".join(lines), advice, *states, _closing(plan)]) + "\n"


def test_subject(plan: Plan, situations: Sequence[Situation]) -> str:
    """Of the daily test."""
    standing = sum(len(one.standing) for one in situations)
    silent = sum(one.silent_s >= 60.0 * plan.silence_min and not one.over for one in situations)
    count = "1 alarm standing" if standing == 1 else f"{standing} alarms standing"
    state = f"{silent} of {len(situations)} not recording" if silent else count if standing else "all quiet"
    return f"{plan.name}: test of the call-out, {state}"


def test_text(plan: Plan, situations: Sequence[Situation], failed: int, now_ms: int) -> str:
    """That the way to this person works, and how the chambers are."""
    lines = ["This is a test of the call-out. Nothing is asked of you."]
    if plan.test is not None:
        lines.append(f"It comes every day at {plan.test.at}. When it does not, the call-out does not work: have it"
                     " looked at.")
    lines = ["\n".join(wrap(" ".join(lines), WIDTH))]
    for one in situations:
        found = "".join(f"\n  {alarm.row.priority}: {alarm.row.text}, since {_time(plan, one, alarm.from_ms, now_ms)}"
                        for alarm in one.standing)
        lines.append(_state(plan, one, now_ms) + (f"\nalarms standing:{found}" if found else "\nno alarm stands"))
        lines.append(_by_when(plan, one, now_ms))
    if failed:
        lines.append(f"{failed} messages of the last day could not be delivered; see dewhold callout --log.")
    return "\n\n".join([line for line in lines if line] + [_closing(plan)]) + "\n"


def resort_subject(plan: Plan, standing: Sequence[tuple[str, Standing]]) -> str:
    """That the call-out has trouble of its own, and what needs somebody beside it."""
    urgent = sorted(standing, key=lambda one: _RANK.get(one[1].row.priority, 3))
    also = f"; {urgent[0][0]}: {urgent[0][1].row.text}" if urgent else ""
    return f"{plan.name}: the call-out cannot work as it should{also}"


def resort_text(plan: Plan, standing: Sequence[tuple[str, Standing]], why: str, now_ms: int) -> str:
    """What is wrong with the call-out itself, what stands now, and what to do."""
    first = (
        f"The call-out's own file cannot be written: {why}. Who was told what is not remembered, nobody is told step by"
        " step, and what follows comes every half hour while it lasts. Have its disk looked at, now: the controllers"
        " may record on it too."
    )
    parts = ["\n".join(wrap(first, WIDTH))]
    for chamber, one in sorted(standing, key=lambda pair: _RANK.get(pair[1].row.priority, 3)):
        since = local(plan, one.from_ms, now_ms)
        parts.append("\n".join([
            f"* {chamber}: {one.row.text.upper()}", f"  {one.row.priority} priority, since {since}",
            *_item("do", one.row.action),
        ]))
    return "\n\n".join([*parts, _closing(plan)]) + "\n"


def facts_of(told: Sequence[Told], situations: Mapping[str, Situation]) -> list[dict[str, Any]]:
    """The same for a machine: one entry an alarm, with its limits. Times are UTC ms since 1970."""
    return [
        {
            "chamber": one.chamber,
            "simulated": situations[one.chamber].simulated,
            "alarm": one.standing.row.tag,
            "priority": one.standing.row.priority,
            "text": one.standing.row.text,
            "action": one.standing.row.action,
            "since_ms": one.standing.from_ms,
            "step": one.incident.steps,
            "by_when": [
                {"what": limit.what, "in_s": round(limit.in_s), "basis": limit.basis}
                for limit in _limits(situations[one.chamber])
                if isfinite(limit.in_s)
            ],
        }
        for one in ordered(told)
    ]


def text_of(tag: str) -> str:
    """The words of an alarm that does not stand any more, by its tag."""
    rows = (SILENT, *ALARMS)
    return next((row.text for row in rows if row.tag == tag), tag)


def ordered(told: Sequence[Told]) -> list[Told]:
    """Most urgent first, then the older."""
    return sorted(told, key=lambda one: (_RANK.get(one.standing.row.priority, 3), one.standing.from_ms))


def _head(situation: Situation) -> str:
    return ("SIMULATED " if situation.simulated else "") + situation.chamber


def _alarm(plan: Plan, told: Told, situation: Situation, now_ms: int) -> str:
    row, since = told.standing.row, told.standing.from_ms
    age = span(max(0.0, (_clock_ms(situation, now_ms) - since) / 1000.0))
    return "\n".join([
        f"* {row.text.upper()}",
        f"  {row.priority} priority, since {_time(plan, situation, since, now_ms)} ({age})",
        *_item("do", row.action), *_item("why", row.cause), *_item("else", row.consequence),
    ])


def _item(name: str, text: str) -> list[str]:
    lines = wrap(text, WIDTH - 8)
    return [f"  {name:<5} {lines[0]}", *[f"        {line}" for line in lines[1:]]]


def _by_when(plan: Plan, situation: Situation, now_ms: int) -> str:
    found = _limits(situation)
    if not found:
        return ""
    lines = ["By when, if it goes on like this (a guess from the last minutes):"]
    for limit in found:
        when = "NOW"
        if 0.0 < limit.in_s <= FAR_S:
            at_ms = _clock_ms(situation, now_ms) + 1000 * limit.in_s
            when = f"in {span(limit.in_s)}, {_time(plan, situation, at_ms, now_ms)}"
        if limit.in_s > FAR_S:
            when = "not within a day"
        lines += [f"  {limit.what}: {when}", *[f"        {line}" for line in wrap(limit.basis, WIDTH - 8)]]
    return "\n".join(lines)


def _state(plan: Plan, situation: Situation, now_ms: int) -> str:
    if situation.trouble:
        return f"{_head(situation)}: its record cannot be read: {situation.trouble}"
    words = "clock stopped" if situation.procedure == "held" else situation.procedure or "nothing known"
    lines = [f"{_head(situation)}: {words}, {situation.cycle_s / 3600.0:.1f} h into the cycle"]
    now = dict(situation.now)
    if now and not isnan(now["air"]):
        lines.append(
            f"air {now['air']:.1f} degC, {now['rh']:.0f} %RH, dew margin {now['margin']:.2f} K;"
            f" asked for: heat {now['heat']:.0f} kW, fog {now['fog']:.0f} kg/h, vent {now['vent']:.2f} kg/s"
        )
    lines.append(f"last recorded {_time(plan, situation, situation.last_ms, now_ms)}"
                 + (f", {span(situation.silent_s)} ago" if situation.silent_s >= 60.0 else ""))
    return "\n".join("\n".join(wrap(line, WIDTH)) for line in lines)


def _escalation(plan: Plan, person: str, told: Sequence[Told], names: Mapping[str, str], now_ms: int) -> str:
    first = ordered(told)[0]
    lines = ["Acknowledge it at the panel or on the page" + ("." if not plan.link else ":")]
    lines += [plan.link] if plan.link else []
    if all(one.standing.row is SILENT for one in told):
        lines = ["It ends when something is recorded again; nobody can acknowledge it."]
    before = [names.get(key, key) for key in first.incident.told if key != person]
    if before:
        lines.append(f"Also told: {', '.join(before)}.")
    if first.following is not None:
        who = ", ".join("you again" if key == person else names.get(key, key) for key in first.following.people)
        lines.append(f"If nothing happens by {local(plan, first.following.at_ms, now_ms)}: {who}.")
    else:
        lines.append("Nobody else will be told.")
    return "\n".join("\n".join(wrap(line, WIDTH)) for line in lines)


def _closing(plan: Plan) -> str:
    return "\n".join(["-- ", *wrap(f"{plan.name}. {NOT_SAFETY} Answers to this message are not read.", WIDTH)])


def _limits(situation: Situation) -> tuple[Limit, ...]:
    if situation.facts is None or situation.silent_s >= 300.0:
        return ()
    return limits(situation.facts)


def _clock_ms(situation: Situation, now_ms: float) -> float:
    """Now, by the clock of the record: a simulated chamber has its own."""
    return situation.last_ms + 1000.0 * situation.silent_s if situation.simulated else now_ms


def _time(plan: Plan, situation: Situation, at_ms: float, now_ms: float) -> str:
    """A time of a record."""
    text = local(plan, at_ms, _clock_ms(situation, now_ms))
    return f"{text} in the simulation" if situation.simulated else text
