"""What orders do to alarms: hide one or bring it back, acknowledge one, silence the horn, and what the runtime tells.

Silencing is no acknowledgement: the alarm stays unacknowledged and the beacon lit, and the horn sounds again for the
next alarm. That the runtime has trouble (late scans, a record that cannot be written) comes as an order too, so that
a recorded run shows it at the scan in which it was told.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.core.alarms.hiding import Hidden, expire, obey
from controller.core.frames import Command, Event
from controller.core.orders.commands import argument, outcome
from controller.core.orders.verbs import ACKNOWLEDGE, HIDING, SILENCE, TROUBLE


@dataclass(frozen=True, slots=True)
class Orders:
    """tags: every alarm. fixed: those that nobody may hide. told: those that the runtime raises."""

    tags: frozenset[str]
    fixed: frozenset[str]
    told: frozenset[str]


@dataclass(frozen=True, slots=True)
class Kept:
    """What orders have left: hidden alarms, what the runtime told and has not taken back, a silenced horn."""

    hidden: tuple[Hidden, ...]
    told: tuple[str, ...]
    silenced: bool


@dataclass(frozen=True, slots=True)
class Heard:
    """Of one scan. back: tags that came back into sight. events: one outcome an order, and of shelves that ended."""

    back: frozenset[str]
    acknowledged: frozenset[str]
    events: tuple[Event, ...]


NOTHING = Heard(frozenset(), frozenset(), ())


def take(known: Orders, kept: Kept, orders: tuple[Command, ...], now_s: float) -> tuple[Kept, Heard]:
    """Carry out the orders of one scan; what has been on the shelf for its time comes back by itself."""
    if not kept.hidden and not orders:
        return kept, NOTHING
    before = {entry.tag for entry in kept.hidden}
    hidden, over = expire(kept.hidden, now_s)
    told, silenced = kept.told, kept.silenced
    events, noticed = list(over), set()
    for order in orders:
        reason = ""
        if order.verb in HIDING:
            hidden, reason = obey(hidden, order, known.tags, known.fixed, now_s)
        elif order.verb == SILENCE:
            silenced = True
        else:
            tag = str(argument(order, "tag"))
            reason = _unknown(tag, known.told if order.verb == TROUBLE else known.tags)
            if not reason and order.verb == ACKNOWLEDGE:
                noticed.add(tag)
            elif not reason:
                told = _told(told, tag, argument(order, "active") is True)
        events.append(outcome(order, reason))
    back = before - {entry.tag for entry in hidden}
    return Kept(hidden, told, silenced), Heard(frozenset(back), frozenset(noticed), tuple(events))


def _told(told: tuple[str, ...], tag: str, active: bool) -> tuple[str, ...]:
    others = tuple(one for one in told if one != tag)
    return (*others, tag) if active else others


def _unknown(tag: str, tags: frozenset[str]) -> str:
    return "" if tag in tags else f"no alarm is called {tag!r}: known are {', '.join(sorted(tags))}"
