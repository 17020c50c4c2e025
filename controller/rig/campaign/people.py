"""What people order while things go wrong: at random times, some of it fitting, some of it not, all of it over by the
healing. Every number comes from (seed, purpose) by counting.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import log

from controller.core.frames import Command
from controller.core.hand.points import LOOPS, TRIMS, HandPoints, Range
from controller.core.orders.verbs import (
    ACKNOWLEDGE,
    BY_HAND,
    BYPASS,
    CHARGE,
    DISCHARGE,
    DONE,
    ENDS,
    HIDING,
    LIFT,
    LOCK_OUT,
    LOCKING,
    MANUAL,
    SILENCE,
    SIMULATE,
    TRIM,
)
from controller.core.rows.alarms import ALARMS
from controller.rig.campaign.chance import number, pick
from controller.rig.faults.operators import WHO as OLD_PAGE
from controller.runtime.session import Session

Args = tuple[tuple[str, str | float | bool], ...]
WHO = "people"
HASTE_LO, HASTE_HI = 0.5, 12.0  # orders an hour, assumed
ANEW_SHARE = 0.5
BY_HAND_SHARE = 0.3  # of the orders override something, lock the outputs out or say what was done
# in the weights of their list: mostly they try to get on
VERBS = (
    ACKNOWLEDGE, ACKNOWLEDGE, "reset-trips", "reset-trips", "reset-trips", "restart", "restart", "restart",
    "resume", "hold", "pause", "reset", "start", "next-phase", "stop", "abort", *HIDING, SILENCE,
)  # fmt: skip
HANDS = (*BY_HAND, *LOCKING, DONE, CHARGE, DISCHARGE)
FITTING_SHARE = 0.85  # of what is overridden; the rest may not be, or does not exist
HOURS_LO = 0.02
UNKNOWN = "no-such-thing"


def orders(seed: int, session: Session, until_s: float, scan_s: float) -> list[tuple[int, Command]]:
    """(scan, order), as many an hour as this seed's people are hasty. Half of the time they see to it that a cycle runs
    again afterwards; what they have overridden ends by itself before until_s, and their locks are lifted then, with one
    that an old page has hung in another name."""
    per_h = HASTE_LO * (HASTE_HI / HASTE_LO) ** number(seed, "haste")
    found: list[tuple[int, Command]] = []
    time_s, n = 0.0, 0
    while True:
        time_s -= 3600.0 * log(number(seed, "pause", n)) / per_h
        if time_s >= until_s:
            break
        by_hand = number(seed, "by hand", n) < BY_HAND_SHARE
        verb = pick(seed, "verb", HANDS if by_hand else VERBS, n)
        anew = number(seed, "anew", n) < ANEW_SHARE and not by_hand
        for after_s, one in zip((0.0, 30.0, 60.0), (verb, "reset", "start") if anew else (verb,), strict=False):
            args = _args(seed, session, one, n, (until_s - time_s) / 3600.0)
            found.append((round((time_s + after_s) / scan_s), Command(f"people-{n}-{one}", one, WHO, args)))
        n += 1
    if any(order.verb == LOCK_OUT for _scan, order in found):
        scan, whose = round(until_s / scan_s), (("of", OLD_PAGE), ("reason", "drawn"), ("role", "supervisor"))
        found += [(scan, Command("people-lift-lock", LIFT, WHO)), (scan, Command("people-lift-old", LIFT, WHO, whose))]
    return found


def _args(seed: int, session: Session, verb: str, n: int, left_h: float) -> Args:
    """What an order needs; some of it is refused. left_h: until all is healed."""
    if verb in HIDING:
        hours = (("hours", round(13.0 * number(seed, "hours", n), 2)),) if verb == "shelve" else ()
        return (*hours, ("reason", "drawn"), ("tag", pick(seed, "tag", ALARMS, n).tag))
    if verb == LOCK_OUT:
        return (("reason", "drawn"), ("role", "shift lead"))
    if verb == DONE:
        items = [item.tag for item in session.plan.upkeep.duty.items]
        return (("item", pick(seed, "item", (*items, UNKNOWN), n)),)
    if verb in (CHARGE, DISCHARGE):
        place = (("bay", 1 + int(7 * number(seed, "bay", n))), ("level", 1 + int(12 * number(seed, "level", n))))
        return (*place, ("tonnes", 1.0)) if verb == CHARGE else place
    if verb in ENDS:
        return (("tag", "all"),)
    return _by_hand(seed, session.plan.by_hand.points, verb, n, left_h) if verb in BY_HAND else ()


def _by_hand(seed: int, points: HandPoints, verb: str, n: int, left_h: float) -> Args:
    """Something to override, and until when."""
    fitting = number(seed, "fits", n) < FITTING_SHARE
    hours = max(HOURS_LO, 0.95 * left_h * number(seed, "hours", n)) if fitting else 0.95 * left_h
    args: Args = (("hours", min(hours, left_h)), ("reason", "drawn"), ("role", "shift lead"))
    tags = _tags(points, verb) if fitting else (UNKNOWN, *points.fast, *points.fixed)
    if not tags:
        return args
    tag = pick(seed, "tag", tags, n)
    place = _place(points, verb, tag)
    if place is None:
        return (*args, ("tag", tag))
    value = place.lo + (place.hi - place.lo) * number(seed, "value", n)
    if tag in points.contacts or tag in points.discrete or tag in points.lamps:
        value = float(round(value))
    return (*args, ("tag", tag), ("value", value))


def _tags(points: HandPoints, verb: str) -> Sequence[str]:
    if verb == BYPASS:
        return tuple(points.rows)
    if verb in (MANUAL, TRIM):
        return LOOPS if verb == MANUAL else TRIMS
    inputs = (*points.readings, *points.contacts)
    return inputs if verb == SIMULATE else (*points.analog, *points.discrete, *points.lamps, *inputs)


def _place(points: HandPoints, verb: str, tag: str) -> Range | None:
    tables = {MANUAL: (points.loops,), TRIM: (points.trims,)}.get(
        verb, (points.contacts, points.readings, points.analog, points.discrete, points.lamps)
    )
    return next((table[tag] for table in tables if tag in table), None)
