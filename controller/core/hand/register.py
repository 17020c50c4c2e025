"""What people have overridden, in one register: bypassed rows, forced points, simulated inputs, loops in manual, trims.

Each entry says who, in which role, why and until when, ends by itself and is told as it begins and ends. While there
are none nothing of this costs the scan anything. Rules:

- A row can be bypassed only where its chamber says so, never one of a hard-wired circuit, air flow, heat or doors.
- Protection judges what was measured beside what was put in its place: whichever is worse counts, so neither a forced
  nor a simulated input can take a trip away. Contacts of rows that cannot be bypassed may only be put open.
- A forced output passes protection like any other. Lamps and horn may only be put on, the healthy relay only off.
- The end of a cycle, stop and abort end whatever moves an output or a setpoint; a restart ends what is forced,
  simulated or in manual; a hard-wired circuit ends what moves what it has taken, or its reset would start that again.
- A loop goes into manual from where it stands and comes back to automatic gradually (`hand_demands`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated

from annotated_types import Ge, Gt, Le

from controller.core.frames import Command, Event
from controller.core.hand.lock_out import Lock
from controller.core.hand.points import LOOPS, TRIMS, HandPoints
from controller.core.orders.commands import shown
from controller.core.orders.verbs import BYPASS, ENDS, FORCE, MANUAL, RELEASE, SIMULATE, TRIM

COUNTED: tuple[str, ...] = (BYPASS, FORCE, SIMULATE, MANUAL)  # kinds that make a cycle deviate
ALL = "all"
REASON_MAX = 200
_DONE = {BYPASS: "bypassed", FORCE: "forced", SIMULATE: "simulated", MANUAL: "in manual", TRIM: "trimmed"}


@dataclass(frozen=True, slots=True, kw_only=True)
class ByHandConfig:
    """[by_hand]. hours_max: longest an entry may last; entries_max: so many at once, trims apart. Our choice, both.

    fixed: outputs that nobody may force. trim_K_max, trim_rh_pct_max: how far setpoints may be moved while a recipe
    runs; trim_K_per_h: how fast they move there. back_s: how long a loop takes from zero to full on its way back.
    """

    hours_max: Annotated[float, Gt(0), Le(24)] = 12.0
    entries_max: Annotated[int, Ge(0), Le(32)] = 5
    fixed: tuple[str, ...] = ()
    trim_K_max: Annotated[float, Ge(0), Le(5)] = 1.0
    trim_rh_pct_max: Annotated[float, Ge(0), Le(5)] = 1.0
    trim_K_per_h: Annotated[float, Gt(0), Le(20)] = 2.0
    back_s: Annotated[float, Gt(0), Le(3600)] = 600.0


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the register. value: of the point or loop, the distance of a trim; 0 of a bypass.

    since_s, until_s: time since the record began.
    """

    kind: str
    tag: str
    value: float
    since_s: float
    until_s: float
    who: str
    role: str
    reason: str


@dataclass(frozen=True, slots=True)
class ByHand:
    """entries: what is overridden now, oldest first. locks: who keeps the outputs off. given: entries since the record
    began.

    back: loops on their way back to automatic, with what they were last asked for. trims: where the setpoints stand
    now, K and %RH. idle: nothing of all this is at work.
    """

    entries: tuple[Entry, ...] = ()
    locks: tuple[Lock, ...] = ()
    given: int = 0
    back: tuple[tuple[str, float], ...] = ()
    trims: tuple[float, float] = (0.0, 0.0)
    idle: bool = True

    @property
    def said(self) -> tuple[bool, bool]:
        """For the alarms: is anything overridden, does a lock hang?"""
        return any(entry.kind in COUNTED for entry in self.entries), bool(self.locks)


@dataclass(frozen=True, slots=True)
class ByHandPlan:
    """The section, and what may be done to which point. trims_per_s: how fast setpoints move."""

    config: ByHandConfig
    points: HandPoints
    trims_per_s: tuple[float, float]


UNTOUCHED = ByHand()
Told = tuple[ByHand, tuple[Event, ...]]


def bind(config: ByHandConfig, points: HandPoints) -> ByHandPlan:
    """%RH moves as fast as its whole trim takes in kelvin."""
    share = config.trim_rh_pct_max / config.trim_K_max if config.trim_K_max > 0.0 else 1.0
    K_per_s = config.trim_K_per_h / 3600.0
    return ByHandPlan(config, points, (K_per_s, K_per_s * max(share, 0.1)))


def settled(state: ByHand) -> ByHand:
    """The same with `idle` as it is now."""
    idle = not (state.entries or state.locks or state.back) and state.trims == (0.0, 0.0)
    return state if state.idle is idle else replace(state, idle=idle)


def only_locks(state: ByHand) -> ByHand:
    """What outlives a change of the chamber's own files: whoever has hung a lock may still be inside."""
    return settled(ByHand(locks=state.locks, given=state.given, idle=False))


def live(plan: ByHandPlan, state: ByHand, ending: bool, now_s: float, dt_s: float, taken: int = 0) -> Told:
    """One scan of what is overridden: what has had its time ends, setpoints move to their trims.

    ending: the cycle is over, or a stop or an abort began, which ends what moves outputs and setpoints. taken: what
    hard-wired circuits have taken, bits of the rows.
    """
    over = [entry for entry in state.entries if now_s >= entry.until_s]
    state, events = _without(state, over, "its time is over") if over else (state, ())
    if ending:
        moving = [one for one in state.entries if one.kind in (MANUAL, TRIM) or _drives(plan, one)]
        state, more = _without(state, moving, "the cycle ends")
        events = (*events, *more)
    if taken:
        state, more = _taken(plan, state, taken)
        events = (*events, *more)
    wanted = [0.0, 0.0]
    for entry in state.entries:
        if entry.kind == TRIM:
            wanted[TRIMS.index(entry.tag)] = entry.value
    if state.trims != (wanted[0], wanted[1]):
        (K, rh), (K_per_s, rh_per_s) = state.trims, plan.trims_per_s
        state = replace(state, trims=(_towards(K, wanted[0], K_per_s * dt_s), _towards(rh, wanted[1], rh_per_s * dt_s)))
    return settled(state), events


def obey(
    plan: ByHandPlan, state: ByHand, command: Command, asked: tuple[float, ...], now_s: float
) -> tuple[ByHand, str, tuple[Event, ...]]:
    """Carry out one of BY_HAND: what is overridden now, why it was refused ("" when it was not), and what to tell.

    asked: what each of LOOPS is asked for in this scan: a loop without a value goes into manual there.
    """
    args, verb = dict(command.args), command.verb
    tag = str(args.get("tag", ""))
    if verb in ENDS:
        return _end(state, command, tag)
    value = args.get("value")
    if verb == MANUAL and value is None and tag in LOOPS:
        value = asked[LOOPS.index(tag)]
    number, objection = plan.points.settle(verb, tag, value)
    reason, hours = str(args.get("reason", "")).strip(), args.get("hours")
    objection = objection or _objection(plan, state, verb, tag, reason, hours)
    if objection or not isinstance(hours, int | float):
        return state, objection, ()
    role = str(args.get("role", ""))
    entry = Entry(verb, tag, number, now_s, now_s + hours * 3600.0, command.who, role, reason)
    others = tuple(one for one in state.entries if (one.kind, one.tag) != (verb, tag))
    back = tuple(one for one in state.back if verb != MANUAL or one[0] != tag)
    after = replace(state, entries=(*others, entry), given=state.given + 1, back=back)
    return settled(after), "", (_told(entry, "begins", ""),)


def _objection(plan: ByHandPlan, state: ByHand, kind: str, tag: str, reason: str, hours: object) -> str:
    """Why an entry may not be made, whatever it concerns."""
    config = plan.config
    if not reason or len(reason) > REASON_MAX:
        return f"a reason of at most {REASON_MAX} characters is needed: say why, for whoever comes after"
    if not isinstance(hours, int | float) or isinstance(hours, bool) or not 0.0 < hours <= config.hours_max:
        return f"hours {shown(hours)} must be above 0 and at most {config.hours_max:g}: it ends by itself"
    others = [one for one in state.entries if (one.kind, one.tag) != (kind, tag)]
    if kind != TRIM and sum(one.kind != TRIM for one in others) >= config.entries_max:
        return f"{config.entries_max} points, rows and loops are overridden already: end one first"
    if any(one.tag == tag and {one.kind, kind} == {FORCE, SIMULATE} for one in others):
        return f"{tag} is overridden in another way already: release it first"
    return ""


def _end(state: ByHand, command: Command, tag: str) -> tuple[ByHand, str, tuple[Event, ...]]:
    kinds = (TRIM,) if command.verb == RELEASE and tag in TRIMS else ENDS[command.verb]
    over = [one for one in state.entries if one.kind in kinds and tag in (one.tag, ALL)]
    if not over:
        return state, f"{tag or 'nothing'} is not {' or '.join(_DONE[kind] for kind in kinds)}", ()
    after, events = _without(state, over, f"by {command.who}")
    return settled(after), "", events


def _without(state: ByHand, over: list[Entry], why: str) -> Told:
    """The register without these. A loop that was in manual begins to come back from where it stood."""
    kept = tuple(one for one in state.entries if one not in over)
    back = (*state.back, *[(one.tag, one.value) for one in over if one.kind == MANUAL])
    return replace(state, entries=kept, back=back), tuple(_told(one, "ends", why) for one in over)


def _taken(plan: ByHandPlan, state: ByHand, taken: int) -> Told:
    """The register without what moves what a hard-wired circuit has taken; a loop does not come back to that."""
    moves = plan.points.moves
    over = [one for one in state.entries if one.kind in (FORCE, MANUAL) and moves.get(one.tag, 0) & taken]
    state, events = _without(state, over, "a hard-wired circuit has taken it") if over else (state, ())
    back = tuple(one for one in state.back if not moves.get(one[0], 0) & taken)
    return (state if len(back) == len(state.back) else replace(state, back=back)), events


def _drives(plan: ByHandPlan, entry: Entry) -> bool:
    """Is it an output that is forced, other than a lamp?"""
    return entry.kind == FORCE and (entry.tag in plan.points.analog or entry.tag in plan.points.discrete)


def _towards(now: float, wanted: float, step: float) -> float:
    return min(now + step, wanted) if now < wanted else max(now - step, wanted)


def _told(entry: Entry, what: str, why: str) -> Event:
    value = "" if entry.kind == BYPASS else f" by {entry.value:+g}" if entry.kind == TRIM else f" at {entry.value:g}"
    text = f"{entry.tag} {_DONE[entry.kind]}{value}, by {entry.who}: {entry.reason}"
    return Event("by-hand", entry.tag, text if what == "begins" else f"{text}; ends, {why}", (
        ("what", what), ("kind", entry.kind), ("value", entry.value), ("who", entry.who), ("role", entry.role),
        ("reason", entry.reason), ("since_s", entry.since_s), ("until_s", entry.until_s), ("why", why),
    ))
