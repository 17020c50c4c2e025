"""Alarms that are kept from sight on purpose: shelved by an operator for a time, or taken out of service.

Both go on living and being journaled; they only stop sounding, lighting and counting. A shelf has an end and needs a
reason. Alarms that protection raises can be neither: what has tripped must be seen. Suppression by design (an alarm
that means nothing in a phase) stands with the alarm's row.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.core.frames import Command, Event
from controller.core.orders.commands import shown
from controller.core.orders.verbs import RETURN, UNSHELVE, WITHDRAW

SHELF_H_MAX = 12.0  # one shift and its hand-over; our choice
SHELVED_MAX = 5  # more at once hide a chamber; our choice


@dataclass(frozen=True, slots=True)
class Hidden:
    """One alarm kept from sight. until_s: end of a shelf, None when it is out of service."""

    tag: str
    until_s: float | None
    who: str
    reason: str


def obey(
    hidden: tuple[Hidden, ...], command: Command, tags: frozenset[str], fixed: frozenset[str], now_s: float
) -> tuple[tuple[Hidden, ...], str]:
    """Carry out one command of HIDING. Returns what is hidden now and why it was refused, "" when it was not.

    tags: every alarm; fixed: those that nobody may hide. Arguments: tag, reason and, for a shelf, hours.
    """
    args = dict(command.args)
    tag, reason = str(args.get("tag", "")), str(args.get("reason", "")).strip()
    if tag not in tags:
        return hidden, f"no alarm is called {tag!r}: known are {', '.join(sorted(tags))}"
    found = next((entry for entry in hidden if entry.tag == tag), None)
    others = tuple(entry for entry in hidden if entry.tag != tag)
    if command.verb in (UNSHELVE, RETURN):
        shelf = command.verb == UNSHELVE
        if found is None or (found.until_s is not None) is not shelf:
            return hidden, f"{tag} is not {'shelved' if shelf else 'out of service'}"
        return others, ""
    if tag in fixed:
        return hidden, f"{tag} is raised by protection and is always shown"
    if not reason:
        return hidden, "a reason is needed: say why nobody has to see it"
    if command.verb == WITHDRAW:
        return (*others, Hidden(tag, None, command.who, reason)), ""
    hours = args.get("hours")
    if not isinstance(hours, int | float) or isinstance(hours, bool) or not 0.0 < hours <= SHELF_H_MAX:
        return hidden, f"hours {shown(hours)} must be above 0 and at most {SHELF_H_MAX:g}: a shelf has an end"
    if found is not None and found.until_s is None:
        return hidden, f"{tag} is out of service already: return it to service first"
    if len([entry for entry in others if entry.until_s is not None]) >= SHELVED_MAX:
        return hidden, f"{SHELVED_MAX} alarms are shelved already: bring one back first"
    return (*others, Hidden(tag, now_s + hours * 3600.0, command.who, reason)), ""


def expire(hidden: tuple[Hidden, ...], now_s: float) -> tuple[tuple[Hidden, ...], tuple[Event, ...]]:
    """Bring back what has been on the shelf for its time."""
    over = [entry for entry in hidden if entry.until_s is not None and now_s >= entry.until_s]
    if not over:
        return hidden, ()
    events = tuple(
        Event("alarm", entry.tag, f"{entry.tag}: back from the shelf, its time is over", (
            ("what", "unshelved"), ("who", entry.who), ("reason", entry.reason),
        ))
        for entry in over
    )
    return tuple(entry for entry in hidden if entry not in over), events
