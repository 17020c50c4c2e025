"""Who is called when: a pure decision over what needs somebody, what has been told, and the time.

An incident is one alarm of one chamber that is active, in sight and not acknowledged. Its steps follow each other
until somebody acknowledges; the last one is repeated, so many times. The first step is told even when the file is wrong
about people: if a step reaches nobody the next one is taken at once, and if none does everybody is told.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

from controller.callout.plan import EVERYBODY, Plan, Rule, Step
from controller.callout.roster import resolve, within

MINUTE_MS = 60_000
CHATTER_MS = 15 * MINUTE_MS  # what comes back sooner after it was told goes on where it stood; our choice
Kind = Literal["step", "acknowledged", "over"]


class Key(NamedTuple):
    """One alarm of one chamber."""

    chamber: str
    tag: str


@dataclass(frozen=True, slots=True)
class Need:
    """An alarm that is active, in sight and not acknowledged."""

    key: Key
    priority: str


@dataclass(frozen=True, slots=True)
class Incident:
    """What is remembered of one need. seen_ms: first seen; begun_ms: first told, None before; last_ms: last told.

    steps: how many are behind it; repeats: of the last one. told: keys of people. over_ms: since when it needs nobody.
    """

    key: Key
    priority: str
    seen_ms: int
    steps: int = 0
    begun_ms: int | None = None
    last_ms: int | None = None
    repeats: int = 0
    told: tuple[str, ...] = ()
    over_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Call:
    """One person to be told of one incident, now. number: of the step, from 1."""

    person: str
    key: Key
    kind: Kind
    number: int = 0


@dataclass(frozen=True, slots=True)
class Next:
    """What comes if nobody acknowledges: when, and who would be told as things stand."""

    at_ms: int
    people: tuple[str, ...]


def decide(
    plan: Plan,
    incidents: Iterable[Incident],
    needs: Iterable[Need],
    acknowledged: Collection[Key],
    undelivered: Collection[Key],
    now_ms: int,
) -> tuple[tuple[Incident, ...], tuple[Call, ...]]:
    """One look. acknowledged: alarms that stand and are acknowledged. undelivered: those whose last step reached
    nobody, because no message of it could be delivered.

    Returns the incidents to remember and the calls to make.
    """
    book = {incident.key: incident for incident in incidents}
    kept: list[Incident] = []
    calls: list[Call] = []
    for need in needs:
        incident = _known(book.pop(need.key, None), need, now_ms)
        rule = rule_of(plan, need.priority)
        if rule is not None and within(rule.begin, rule.end, plan.zone, now_ms):
            incident, people = _advance(plan, rule, incident, need.key in undelivered, now_ms)
            calls += [Call(person, need.key, "step", incident.steps) for person in people]
        kept.append(incident)
    for before in book.values():
        after, more = _ended(plan, before, before.key in acknowledged, now_ms)
        calls += more
        if after is not None:
            kept.append(after)
    return tuple(kept), tuple(calls)


def rule_of(plan: Plan, priority: str) -> Rule | None:
    """The first rule for a priority; None when the file has none."""
    return next((rule for rule in plan.rules if priority in rule.priorities), None)


def next_of(plan: Plan, incident: Incident) -> Next | None:
    """What comes next for an incident that goes on; None when nothing does."""
    rule = rule_of(plan, incident.priority)
    if rule is None or incident.begun_ms is None:
        return None
    for number in range(incident.steps, len(rule.steps)):
        at_ms = _due_ms(rule, incident, number)
        people = resolve(plan, rule.steps[number].who, at_ms)
        if people:
            return Next(at_ms, people)
    again_ms = _repeat_ms(rule, incident)
    return None if again_ms is None else Next(again_ms, _people(plan, rule.steps[-1], again_ms))


def _known(incident: Incident | None, need: Need, now_ms: int) -> Incident:
    if incident is None or (incident.over_ms is not None and now_ms - (incident.last_ms or 0) >= CHATTER_MS):
        return Incident(need.key, need.priority, now_ms)
    return replace(incident, priority=need.priority, over_ms=None)


def _advance(
    plan: Plan, rule: Rule, incident: Incident, undelivered: bool, now_ms: int
) -> tuple[Incident, tuple[str, ...]]:
    """At most one step further: the incident after it and whom to tell now."""
    while incident.steps < len(rule.steps):
        number = incident.steps
        in_vain = number > 0 and (undelivered or incident.begun_ms is None)  # the step before reached nobody
        if now_ms < _due_ms(rule, incident, number) and not in_vain:
            return incident, ()
        incident = replace(incident, steps=number + 1)
        people = resolve(plan, rule.steps[number].who, now_ms)
        if people:
            return _told(incident, people, now_ms), people
    if incident.begun_ms is None:  # no step had anybody
        people = _people(plan, Step(who=(EVERYBODY,)), now_ms)
        return _told(incident, people, now_ms), people
    due_ms = _repeat_ms(rule, incident)
    if due_ms is None or now_ms < due_ms:
        return incident, ()
    people = _people(plan, rule.steps[-1], now_ms)
    return _told(replace(incident, repeats=incident.repeats + 1), people, now_ms), people


def _ended(
    plan: Plan, incident: Incident, acknowledged: bool, now_ms: int
) -> tuple[Incident | None, tuple[Call, ...]]:
    """It needs nobody any more: remembered for a while where it may only have paused, told to those who were told."""
    kind: Kind = "acknowledged" if acknowledged else "over"
    wanted = plan.tell_acknowledged if acknowledged else plan.tell_over
    first = incident.over_ms is None
    calls = tuple(Call(person, incident.key, kind) for person in incident.told) if wanted and first else ()
    if acknowledged or incident.last_ms is None or now_ms - incident.last_ms >= CHATTER_MS:
        return None, calls
    return replace(incident, over_ms=now_ms) if first else incident, calls


def _told(incident: Incident, people: tuple[str, ...], now_ms: int) -> Incident:
    begun_ms = now_ms if incident.begun_ms is None else incident.begun_ms
    told = tuple(dict.fromkeys((*incident.told, *people)))
    return replace(incident, begun_ms=begun_ms, last_ms=now_ms, told=told)


def _due_ms(rule: Rule, incident: Incident, number: int) -> int:
    """The first step counts from when the alarm was seen, the others from when the first was told."""
    if incident.begun_ms is None:
        return incident.seen_ms + round(rule.steps[number].after_min * MINUTE_MS)
    return incident.begun_ms + round((rule.steps[number].after_min - rule.steps[0].after_min) * MINUTE_MS)


def _repeat_ms(rule: Rule, incident: Incident) -> int | None:
    if not rule.repeat_min or incident.repeats >= rule.repeats_max or incident.last_ms is None:
        return None
    return incident.last_ms + round(rule.repeat_min * MINUTE_MS)


def _people(plan: Plan, step: Step, now_ms: int) -> tuple[str, ...]:
    """Those of a step; when it has nobody, everybody; when all are away, all the same."""
    everybody = tuple(person.key for person in plan.people)
    return resolve(plan, step.who, now_ms) or resolve(plan, (EVERYBODY,), now_ms) or everybody
