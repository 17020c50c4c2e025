"""Reads a call-out file and says everything that is wrong with it at once, secrets included."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from urllib.parse import urlsplit
from zoneinfo import ZoneInfoNotFoundError

from controller.callout.outbox import Way
from controller.callout.plan import DUTY, EVERYBODY, Plan
from controller.callout.roster import zone_of
from controller.callout.secrets import secret_of
from controller.config.loader import Loaded as File
from controller.config.loader import read
from controller.errors import ConfigError, Problem

MAIL = "mail"
_CLOCK = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")
_ADDRESS = re.compile(r"[!-?A-~]+@[!-?A-~]+")  # good enough to tell a name from an address
_LOOPBACK = ("127.0.0.1", "::1", "localhost")


@dataclass(frozen=True, slots=True)
class Loaded:
    """A valid plan, how each person is reached, and the secret of each channel ("" = none)."""

    plan: Plan
    ways: dict[str, tuple[Way, ...]]
    secrets: dict[str, str]


def load_plan(path: Path) -> Loaded:
    """The plan of a file with its secrets. Raises ConfigError with every problem."""
    plan = read(path, Plan).value
    found = [Problem(str(path), *one) for one in problems(plan)]
    secrets: dict[str, str] = {}
    wanted = [(hook.name, f"hooks[{number}].secret", hook.secret_file, hook.secret_env)
              for number, hook in enumerate(plan.hooks)]
    if plan.mail is not None:
        wanted.append((MAIL, "mail.password", plan.mail.password_file, plan.mail.password_env))
    for channel, where, file, variable in wanted:
        try:
            secrets[channel] = secret_of(str(path), where, file, variable)
        except ConfigError as error:
            found += error.problems
    if found:
        raise ConfigError(found)
    ways = {
        person.key: (
            *([Way(MAIL, person.mail)] if person.mail else []),
            *(Way(name, _url(plan, name)) for name in person.hooks),
        )
        for person in plan.people
    }
    return Loaded(plan, ways, secrets)


def read_plan(path: Path) -> File[Plan]:
    """The plan of a file, judged without its secrets: they need not be on the computer on which it is written."""
    file = read(path, Plan)
    found = [Problem(file.path, *one) for one in problems(file.value)]
    if found:
        raise ConfigError(found)
    return file


def problems(plan: Plan) -> Iterable[tuple[str, str, str, str]]:
    """(field, value, limit, remedy) of everything that does not fit together."""
    yield from _zones(plan)
    yield from _people(plan)
    yield from _names(plan)
    yield from _rules(plan)
    yield from _ways(plan)


def _zones(plan: Plan) -> Iterable[tuple[str, str, str, str]]:
    zones = [("zone", plan.zone)]
    zones += [(f"shifts[{n}].zone", shift.zone) for n, shift in enumerate(plan.shifts) if shift.zone]
    for field, name in zones:
        try:
            zone_of(name)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            yield field, name, "is no time zone of the IANA tables", "for example Europe/Berlin; is tzdata installed?"
    clocks = [
        (f"shifts[{n}].{end}", getattr(shift, end)) for n, shift in enumerate(plan.shifts) for end in ("begin", "end")
    ]
    clocks += [(f"rules[{n}].{end}", value) for n, rule in enumerate(plan.rules) for end in ("begin", "end")
               if (value := getattr(rule, end))]
    clocks += [("test.at", plan.test.at)] if plan.test is not None else []
    for field, value in clocks:
        if not _CLOCK.fullmatch(value):
            yield field, value, "must be a time of day, 00:00 to 23:59", "for example 06:00"
    for number, away in enumerate(plan.away):
        for end in ("first_day", "last_day"):
            try:
                date.fromisoformat(getattr(away, end))
            except ValueError:
                yield f"away[{number}].{end}", getattr(away, end), "must be a day, YYYY-MM-DD", "for example 2026-08-01"
        if away.last_day < away.first_day:
            yield f"away[{number}].last_day", away.last_day, f"lies before first_day {away.first_day}", "swap them"


def _people(plan: Plan) -> Iterable[tuple[str, str, str, str]]:
    seen: set[str] = set()
    for number, person in enumerate(plan.people):
        where = f"people[{number}]"
        if person.key in seen or person.key in (DUTY, EVERYBODY):
            yield f"{where}.key", person.key, "stands twice or is a word of its own", "give each person another key"
        seen.add(person.key)
        if not person.mail and not person.hooks:
            yield where, person.key, "cannot be reached", "give mail or hooks"
        if person.mail and not _ADDRESS.fullmatch(person.mail):
            yield f"{where}.mail", person.mail, "is no mail address", "for example anna@example.com"
        if person.mail and plan.mail is None:
            yield f"{where}.mail", person.mail, "there is no mail server", "add [mail] with host and sender"


def _names(plan: Plan) -> Iterable[tuple[str, str, str, str]]:
    keys = {person.key for person in plan.people}
    hooks = {hook.name for hook in plan.hooks}
    used = [(f"people[{n}].hooks", name, hooks) for n, person in enumerate(plan.people) for name in person.hooks]
    used += [(f"shifts[{n}].people", name, keys) for n, shift in enumerate(plan.shifts) for name in shift.people]
    used += [(f"away[{n}].person", away.person, keys) for n, away in enumerate(plan.away)]
    who = [(f"rules[{n}].steps[{m}].who", name) for n, rule in enumerate(plan.rules)
           for m, step in enumerate(rule.steps) for name in step.who]
    who += [("test.who", name) for name in plan.test.who] if plan.test is not None else []
    used += [(field, name, keys | {DUTY, EVERYBODY}) for field, name in who]
    for field, name, known in used:
        if name not in known:
            yield field, name, f"is not one of {', '.join(sorted(known)) or '(none)'}", "correct the name or add it"
    if not plan.shifts and any(name == DUTY for _field, name in who):
        yield "shifts", "(none)", f"{DUTY} is somebody on a shift", "add [[shifts]], or name people"


def _rules(plan: Plan) -> Iterable[tuple[str, str, str, str]]:
    seen: set[str] = set()
    for number, rule in enumerate(plan.rules):
        for priority in rule.priorities:
            if priority in seen:
                yield f"rules[{number}].priorities", priority, "has a rule already", "name each priority once"
            seen.add(priority)
        times = [step.after_min for step in rule.steps]
        if times != sorted(set(times)):
            yield (f"rules[{number}].steps", ", ".join(f"{time:g}" for time in times), "after_min must rise",
                   "put the steps in order of time")
        if bool(rule.begin) is not bool(rule.end):
            yield f"rules[{number}].end", rule.end or "(none)", "begin and end go together", "give both or none"
        if "high" in rule.priorities and rule.begin:
            yield f"rules[{number}].begin", rule.begin, "alarms of high priority wait for no hours", "take both out"
    for priority in ("high", "medium"):
        if priority not in seen:
            yield "rules", priority, "has no rule, nobody would be told", f"add a rule for {priority}"


def _ways(plan: Plan) -> Iterable[tuple[str, str, str, str]]:
    mail = plan.mail
    if mail is not None:
        if not _ADDRESS.fullmatch(mail.sender):
            yield "mail.sender", mail.sender, "is no mail address", "for example dewhold@example.com"
        if mail.user and not (mail.password_file or mail.password_env):
            yield "mail.user", mail.user, "needs a password", "give password_file or password_env"
        if mail.security == "none" and (mail.user or mail.host not in _LOOPBACK):
            yield ("mail.security", "none", "would send text, and a password, in the clear",
                   "use starttls or tls; none is for a relay on this computer without log-in")
    names: set[str] = set()
    for number, hook in enumerate(plan.hooks):
        where = f"hooks[{number}]"
        if hook.name in names or hook.name == MAIL:
            yield f"{where}.name", hook.name, "stands twice or is a word of its own", "give each its own name"
        names.add(hook.name)
        try:
            parts = urlsplit(hook.url)
            host, _port = parts.hostname or "", parts.port
        except ValueError:
            yield f"{where}.url", hook.url, "is no address", "for example https://example.com/dewhold"
            continue
        if parts.scheme != "https" and not (parts.scheme == "http" and host in _LOOPBACK):
            yield f"{where}.url", hook.url, "must begin with https://", "http:// only for this computer"
        if not host or not hook.url.isascii() or any(sign in hook.url for sign in "\r\n \t#") or parts.username:
            yield (f"{where}.url", hook.url, "must be a plain address without blanks, fragment or user",
                   "put what is secret into secret_file")


def _url(plan: Plan, name: str) -> str:
    return next(hook.url for hook in plan.hooks if hook.name == name)
