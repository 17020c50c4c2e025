"""The call-out file: people, shifts, who is told after how long, and how mails and web calls leave the house.

Times of day are wall-clock times of the site's zone (or of a shift's own), so that a night shift is an hour shorter or
longer when clocks change. Secrets never stand in the file, only where they are: a file or an environment variable.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le, MinLen

Day = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
DAYS: tuple[Day, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
Priority = Literal["low", "medium", "high"]
DUTY, EVERYBODY = "duty", "everybody"  # in `who`: whoever is on shift now, and all people


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who can be told. key: how the file names them. mail: address. hooks: names of web calls that reach them.

    At least one of mail and hooks. language: of their messages, "" = that of the file.
    """

    key: str
    name: str
    mail: str = ""
    hooks: tuple[str, ...] = ()
    language: Literal["", "en", "de"] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """People on call on these days from begin to end, HH:MM; an end at or before begin lies on the next day.

    zone: of these times, "" = the site's.
    """

    name: str
    people: Annotated[tuple[str, ...], MinLen(1)]
    days: Annotated[tuple[Day, ...], MinLen(1)] = DAYS
    begin: str = "00:00"
    end: str = "00:00"
    zone: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Away:
    """A person who is not called on these days, first and last included, YYYY-MM-DD."""

    person: str
    first_day: str
    last_day: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """after_min: since the first step, while nobody has acknowledged. who: keys of people, "duty", "everybody"."""

    after_min: Annotated[float, Ge(0), Le(1440)] = 0.0
    who: Annotated[tuple[str, ...], MinLen(1)] = (DUTY,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """How alarms of these priorities are told.

    steps: in order of after_min. repeat_min: the last step again so often, 0 = never; at most repeats_max times.
    begin, end: told only between these times of day ("" = at any time); what comes outside waits, and is not told
    when it is over by then.
    """

    priorities: Annotated[tuple[Priority, ...], MinLen(1)]
    steps: Annotated[tuple[Step, ...], MinLen(1)]
    repeat_min: Annotated[float, Ge(0), Le(1440)] = 0.0
    repeats_max: Annotated[int, Ge(0), Le(50)] = 8
    begin: str = ""
    end: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DailyTest:
    """A message a day that says all works; when it does not come, something is wrong. at: HH:MM."""

    at: str = "07:00"
    who: Annotated[tuple[str, ...], MinLen(1)] = (DUTY,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mail:
    """The mail server. security: STARTTLS on a plain port, TLS from the first byte, or none (a relay on this computer).

    user: "" = no log-in; the password stands in password_file or in the environment variable password_env.
    ca_file: certificates to trust beside those of the system. timeout_s: over a whole message.
    """

    host: str
    sender: str
    port: Annotated[int, Ge(1), Le(65535)] = 587
    security: Literal["starttls", "tls", "none"] = "starttls"
    user: str = ""
    password_file: str = ""
    password_env: str = ""
    ca_file: str = ""
    timeout_s: Annotated[float, Gt(0), Le(300)] = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Hook:
    """A web call: JSON by POST, signed after RFC 9421 with HMAC-SHA256 where there is a secret.

    secret_file, secret_env: where the secret is; none = not signed. timeout_s: over a whole call.
    """

    name: str
    url: str
    secret_file: str = ""
    secret_env: str = ""
    ca_file: str = ""
    timeout_s: Annotated[float, Gt(0), Le(300)] = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The whole file.

    silence_min: a record in which nothing is written for so long is an alarm of high priority by itself.
    gather_s: alarms that come together go into one message. pause_s: between two messages to one person.
    give_up_h: so long a message that cannot be sent is tried again.
    tell_acknowledged, tell_over: those who were told also hear that somebody acknowledged, or that it is over.
    link: address of the operator's page, to stand in the messages. language: of the messages, where a person has none.
    """

    name: str
    zone: str
    people: Annotated[tuple[Person, ...], MinLen(1)]
    rules: Annotated[tuple[Rule, ...], MinLen(1)]
    shifts: tuple[Shift, ...] = ()
    away: tuple[Away, ...] = ()
    test: DailyTest | None = None
    mail: Mail | None = None
    hooks: tuple[Hook, ...] = ()
    silence_min: Annotated[float, Ge(1), Le(1440)] = 5.0
    gather_s: Annotated[float, Ge(0), Le(300)] = 15.0
    pause_s: Annotated[float, Ge(0), Le(3600)] = 120.0
    give_up_h: Annotated[float, Gt(0), Le(48)] = 6.0
    tell_acknowledged: bool = True
    tell_over: bool = True
    link: str = ""
    language: Literal["en", "de"] = "en"
