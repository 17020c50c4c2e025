"""Lock-out with names: while anybody's lock hangs, every output that moves, heats or wets stays off.

Several people may each hang their own. A lock is lifted by whoever hung it, or by somebody of the same or a higher
role who says why. It has no end of its own and outlives a restart. This is a software stop and no isolation: whoever
works inside or on a machine isolates it at its switch, with a padlock of their own.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.core.frames import Command, Event
from controller.core.hand.roles import ROLES, rank
from controller.core.orders.verbs import LOCK_OUT

LOCKS_MAX = 8


@dataclass(frozen=True, slots=True)
class Lock:
    """Who keeps the outputs off, in which role, why, and since when (time since the record began)."""

    who: str
    role: str
    reason: str
    since_s: float


def said(locks: tuple[Lock, ...]) -> str:
    """In words, "" when there is none."""
    names = ", ".join(f"{lock.who} ({lock.role}): {lock.reason}" for lock in locks)
    return f"locked out by {names}" if names else ""


def obey(locks: tuple[Lock, ...], command: Command, now_s: float) -> tuple[tuple[Lock, ...], str, tuple[Event, ...]]:
    """Carry out one of LOCKING: locks that hang now, why it was refused ("" when it was not), and what to tell.

    lift-lock has the argument `of`, whose lock it is; without it the sender's own.
    """
    args = dict(command.args)
    role, reason = str(args.get("role", "")), str(args.get("reason", "")).strip()
    if command.verb == LOCK_OUT:
        if not reason:
            return locks, "a reason is needed: say what is being done", ()
        if len(locks) >= LOCKS_MAX:
            return locks, f"{LOCKS_MAX} locks hang already", ()
        others = tuple(lock for lock in locks if lock.who != command.who)
        lock = Lock(command.who, role, reason, now_s)
        return (*others, lock), "", (_told(lock, "begins", f"locked out by {lock.who}: {reason}"),)
    whose = str(args.get("of", command.who))
    found = next((lock for lock in locks if lock.who == whose), None)
    if found is None:
        return locks, f"no lock of {whose} hangs", ()
    if whose != command.who:
        if rank(role) < max(rank(found.role), 0):
            higher = " or ".join(ROLES[max(rank(found.role), 0) :])
            return locks, f"the lock of {whose} ({found.role}) is lifted by {whose} or by {higher}", ()
        if not reason:
            return locks, f"a reason is needed to lift the lock of {whose}: ask {whose} first", ()
    text = f"lock of {whose} lifted by {command.who}" + (f": {reason}" if reason else "")
    return tuple(lock for lock in locks if lock is not found), "", (_told(found, "ends", text),)


def _told(lock: Lock, what: str, text: str) -> Event:
    return Event("by-hand", "lock-out", text, (
        ("what", what), ("kind", "lock-out"), ("who", lock.who), ("role", lock.role), ("reason", lock.reason),
        ("since_s", lock.since_s),
    ))
