"""What people read at three in the morning: one subject line, then what, by when, and what to do, nothing else first.

Times are local, with the name of the zone. Lines are short enough for a phone held upright where that can be. Every
function takes the texts of the language in which it is read (`say`), English where nothing is said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, isnan
from textwrap import wrap
from typing import Any

from controller.callout.by_when import Limit, limits
from controller.callout.escalation import Incident, Next
from controller.callout.language import Texts, texts_of
from controller.callout.plan import Plan
from controller.callout.roster import utc, zone_of
from controller.callout.situation import SILENT, Situation, Standing
from controller.core.rows.alarms import ALARMS

WIDTH = 68
SOON_S = 4 * 3600.0  # a limit farther off than this does not belong into a subject line
FAR_S = 24 * 3600.0
ENGLISH = texts_of("en")
_RANK = {"high": 0, "medium": 1, "low": 2}


@dataclass(frozen=True, slots=True)
class Told:
    """One alarm in a message: where, what, and how far its escalation is."""

    chamber: str
    standing: Standing
    incident: Incident
    following: Next | None


def local(plan: Plan, at_ms: float, now_ms: float | None = None, say: Texts = ENGLISH) -> str:
    """HH:MM and the zone, with the day in front when it is not the day of now_ms."""
    there = utc(round(at_ms)).astimezone(zone_of(plan.zone))
    text = there.strftime("%H:%M %Z")
    if now_ms is not None and utc(round(now_ms)).astimezone(zone_of(plan.zone)).date() != there.date():
        day, month = say("weekdays").split()[there.weekday()], say("months").split()[there.month - 1]
        return f"{day} {there.day:02d} {month} {text}"
    return text


def span(seconds: float, say: Texts = ENGLISH) -> str:
    """A length of time as people say it: 40 s, 45 min, 2 h 10 min, 3 days."""
    if seconds < 90.0:
        return say("span.seconds", n=round(seconds))
    minutes = round(seconds / 60.0)
    if minutes < 90:
        return say("span.minutes", n=minutes)
    if minutes < 48 * 60:
        hours, rest = divmod(minutes, 60)
        return say("span.hours_minutes", n=hours, rest=rest) if rest else say("span.hours", n=hours)
    return say("span.days", n=round(minutes / 1440))


def alarm_subject(told: Sequence[Told], situations: Mapping[str, Situation], say: Texts = ENGLISH) -> str:
    """Chamber, what, by when; of several the most urgent, and how many more."""
    first, *others = ordered(told)
    text = f"{_head(situations[first.chamber], say)}: {say.row(first.standing.row).text}"
    near = [limit for limit in _limits(situations[first.chamber]) if limit.harm and limit.in_s <= SOON_S]
    soonest = next(iter(near), None)
    if soonest is not None:
        what = _what(soonest, say)
        soon = soonest.in_s > 0.0
        text += say("alarm.soon", what=what, span=span(soonest.in_s, say)) if soon else say("alarm.now", what=what)
    return text + (say("more", count=len(others)) if others else "")


def alarm_text(
    plan: Plan, person: str, told: Sequence[Told], situations: Mapping[str, Situation], now_ms: int,
    say: Texts = ENGLISH,
) -> str:
    """The whole message of a step or a repeat."""
    parts: list[str] = []
    names = {one.key: one.name for one in plan.people}
    for chamber in dict.fromkeys(one.chamber for one in ordered(told)):
        situation = situations[chamber]
        mine = [one for one in ordered(told) if one.chamber == chamber]
        needs = "alarm.needs_one" if len(mine) == 1 else "alarm.needs"
        parts.append(say(needs, chamber=_head(situation, say), count=len(mine)))
        parts += [_alarm(plan, one, situation, now_ms, say) for one in mine]
        parts.append(_by_when(plan, situation, now_ms, say))
        parts.append(_state(plan, situation, now_ms, say))
    parts.append(_escalation(plan, person, told, names, now_ms, say))
    parts.append(_closing(plan, say))
    return "\n\n".join(part for part in parts if part) + "\n"


def end_subject(kind: str, told: Sequence[tuple[str, str]], say: Texts = ENGLISH) -> str:
    """Of an acknowledgement, or an alarm that is over."""
    (chamber, text), *others = told
    word = say("end.acknowledged") if kind == "acknowledged" else say("end.over")
    return f"{chamber}: {word}: {text}" + (say("more", count=len(others)) if others else "")


def end_text(
    plan: Plan, kind: str, told: Sequence[tuple[str, str]], situations: Mapping[str, Situation], now_ms: int,
    say: Texts = ENGLISH,
) -> str:
    """That nothing more is asked of the person who was told before."""
    lines, taken = [], kind == "acknowledged"
    for chamber, text in told:
        who = situations[chamber].acknowledged if chamber in situations and taken else None
        by = say("end.acknowledged_by", who=who[0], time=local(plan, who[1], now_ms, say)) if who else ""
        lines.append(f"{chamber}: {text}: {(by or say('end.acknowledged')) if taken else say('end.by_itself')}")
    advice = say("end.advice_acknowledged") if taken else say("end.advice_over")
    states = [_state(plan, situations[name], now_ms, say) for name in dict.fromkeys(name for name, _ in told)
              if name in situations]
    return "\n\n".join(["\n".join(lines), advice, *states, _closing(plan, say)]) + "\n"


def test_subject(plan: Plan, situations: Sequence[Situation], say: Texts = ENGLISH) -> str:
    """Of the daily test."""
    standing = sum(len(one.standing) for one in situations)
    silent = sum(one.silent_s >= 60.0 * plan.silence_min and not one.over for one in situations)
    if silent:
        state = say("test.silent", count=silent, all=len(situations))
    elif standing:
        state = say("test.one_standing" if standing == 1 else "test.standing", count=standing)
    else:
        state = say("test.quiet")
    return say("test.subject", site=plan.name, state=state)


def test_text(
    plan: Plan, situations: Sequence[Situation], failed: int, now_ms: int, say: Texts = ENGLISH
) -> str:
    """That the way to this person works, and how the chambers are."""
    first = [say("test.first")] + ([say("test.daily", at=plan.test.at)] if plan.test is not None else [])
    lines = ["\n".join(wrap(" ".join(first), WIDTH))]
    for one in situations:
        found = "".join(
            "\n  " + say("test.since", priority=say(f"priority.{alarm.row.priority}"), text=say.row(alarm.row).text,
                         time=_time(plan, one, alarm.from_ms, now_ms, say))
            for alarm in one.standing
        )
        stands = "\n" + (say("test.alarms") + found if found else say("test.none"))
        lines.append(_state(plan, one, now_ms, say) + stands)
        lines.append(_by_when(plan, one, now_ms, say))
    if failed:
        lines.append(say("test.failed", count=failed))
    return "\n\n".join([line for line in lines if line] + [_closing(plan, say)]) + "\n"


def resort_subject(plan: Plan, standing: Sequence[tuple[str, Standing]], say: Texts = ENGLISH) -> str:
    """That the call-out has trouble of its own, and what needs somebody beside it."""
    urgent = sorted(standing, key=lambda one: _RANK.get(one[1].row.priority, 3))
    also = f"; {urgent[0][0]}: {say.row(urgent[0][1].row).text}" if urgent else ""
    return say("resort.subject", site=plan.name) + also


def resort_text(
    plan: Plan, standing: Sequence[tuple[str, Standing]], why: str, now_ms: int, say: Texts = ENGLISH
) -> str:
    """What is wrong with the call-out itself, what stands now, and what to do."""
    parts = ["\n".join(wrap(say("resort.first", why=why), WIDTH))]
    for chamber, one in sorted(standing, key=lambda pair: _RANK.get(pair[1].row.priority, 3)):
        row, since = say.row(one.row), local(plan, one.from_ms, now_ms, say)
        parts.append("\n".join([
            f"* {chamber}: {row.text.upper()}",
            "  " + say("alarm.since_only", priority=say(f"priority.{row.priority}"), time=since),
            *_item(say("alarm.do"), row.action),
        ]))
    return "\n\n".join([*parts, _closing(plan, say)]) + "\n"


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


def text_of(tag: str, say: Texts = ENGLISH) -> str:
    """The words of an alarm that does not stand any more, by its tag."""
    rows = (SILENT, *ALARMS)
    return next((say.row(row).text for row in rows if row.tag == tag), tag)


def ordered(told: Sequence[Told]) -> list[Told]:
    """Most urgent first, then the older."""
    return sorted(told, key=lambda one: (_RANK.get(one.standing.row.priority, 3), one.standing.from_ms))


def _head(situation: Situation, say: Texts) -> str:
    return (say("simulated") if situation.simulated else "") + situation.chamber


def _what(limit: Limit, say: Texts) -> str:
    """What a limit is; its key begins with it."""
    return say("limit." + limit.key.partition("_")[0]) if limit.key else limit.what


def _alarm(plan: Plan, told: Told, situation: Situation, now_ms: int, say: Texts) -> str:
    row, since = say.row(told.standing.row), told.standing.from_ms
    age = span(max(0.0, (_clock_ms(situation, now_ms) - since) / 1000.0), say)
    time = _time(plan, situation, since, now_ms, say)
    return "\n".join([
        f"* {row.text.upper()}",
        "  " + say("alarm.since", priority=say(f"priority.{row.priority}"), time=time, age=age),
        *_item(say("alarm.do"), row.action), *_item(say("alarm.why"), row.cause),
        *_item(say("alarm.else"), row.consequence),
    ])


def _item(name: str, text: str) -> list[str]:
    lines = wrap(text, WIDTH - 8)
    return [f"  {name:<5} {lines[0]}", *[f"        {line}" for line in lines[1:]]]


def _by_when(plan: Plan, situation: Situation, now_ms: int, say: Texts) -> str:
    found = _limits(situation)
    if not found:
        return ""
    lines = [say("limit.head")]
    for limit in found:
        when = say("limit.now")
        if 0.0 < limit.in_s <= FAR_S:
            at_ms = _clock_ms(situation, now_ms) + 1000 * limit.in_s
            when = say("limit.in", span=span(limit.in_s, say), time=_time(plan, situation, at_ms, now_ms, say))
        if limit.in_s > FAR_S:
            when = say("limit.far")
        basis = say(f"limit.{limit.key}", **dict(limit.figures)) if limit.key else limit.basis
        lines += [f"  {_what(limit, say)}: {when}", *[f"        {line}" for line in wrap(basis, WIDTH - 8)]]
    return "\n".join(lines)


def _state(plan: Plan, situation: Situation, now_ms: int, say: Texts) -> str:
    head = _head(situation, say)
    if situation.trouble:
        return say("state.trouble", chamber=head, why=situation.trouble)
    procedure = situation.procedure
    words = say.known(f"procedure.{procedure}", procedure) if procedure else say("state.nothing")
    lines = [say("state.head", chamber=head, state=words, hours=situation.cycle_s / 3600.0)]
    now = dict(situation.now)
    if now and not isnan(now["air"]):
        lines.append(say("state.air", **now))
    last, gone = _time(plan, situation, situation.last_ms, now_ms, say), situation.silent_s
    ago = gone >= 60.0
    lines.append(say("state.last_ago", time=last, span=span(gone, say)) if ago else say("state.last", time=last))
    return "\n".join("\n".join(wrap(line, WIDTH)) for line in lines)


def _escalation(
    plan: Plan, person: str, told: Sequence[Told], names: Mapping[str, str], now_ms: int, say: Texts
) -> str:
    first = ordered(told)[0]
    lines = [say("escalation.acknowledge_at"), plan.link] if plan.link else [say("escalation.acknowledge")]
    if all(one.standing.row is SILENT for one in told):
        lines = [say("escalation.silent")]
    before = [names.get(key, key) for key in first.incident.told if key != person]
    if before:
        lines.append(say("escalation.told", names=", ".join(before)))
    if first.following is not None:
        again = say("escalation.again")
        who = ", ".join(again if key == person else names.get(key, key) for key in first.following.people)
        lines.append(say("escalation.following", time=local(plan, first.following.at_ms, now_ms, say), names=who))
    else:
        lines.append(say("escalation.nobody"))
    return "\n".join("\n".join(wrap(line, WIDTH)) for line in lines)


def _closing(plan: Plan, say: Texts) -> str:
    return "\n".join(["-- ", *wrap(say("closing", site=plan.name, not_safety=say("not_safety")), WIDTH)])


def _limits(situation: Situation) -> tuple[Limit, ...]:
    if situation.facts is None or situation.silent_s >= 300.0:
        return ()
    return limits(situation.facts)


def _clock_ms(situation: Situation, now_ms: float) -> float:
    """Now, by the clock of the record: a simulated chamber has its own."""
    return situation.last_ms + 1000.0 * situation.silent_s if situation.simulated else now_ms


def _time(plan: Plan, situation: Situation, at_ms: float, now_ms: float, say: Texts) -> str:
    """A time of a record."""
    text = local(plan, at_ms, _clock_ms(situation, now_ms), say)
    return say("in_simulation", time=text) if situation.simulated else text
