"""All alarms of a scan: which come and go, what is hidden, and what beacon, horn and the healthy relay make of it.

Every alarm carries cause, consequence and action (rows/alarms.py); how one of them lives is in life.py, what orders do
to them in orders.py. Acknowledging all of them, or silencing it, stops the horn; a latched alarm whose cause has gone
is released by reset-trips.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from operator import itemgetter

from controller.core.actuation.actuation import ActuationPlan
from controller.core.alarms import lamps as alarm_lamps
from controller.core.alarms import losses as alarm_losses
from controller.core.alarms.causes import MEAN_EVERY_S, NO_MEANS, AlarmsConfig, Means, any_beyond, excesses, with_means
from controller.core.alarms.hiding import Hidden
from controller.core.alarms.lamps import Lamps, Shown, signal
from controller.core.alarms.life import NORMAL, Life, Manner, at_rest, letter, live
from controller.core.alarms.losses import NO_LOSSES, Losses, LossPlan
from controller.core.alarms.orders import Heard, Kept, Orders, take
from controller.core.alarms.rate import QUIET, Rate, count
from controller.core.binding import Binder
from controller.core.climate.climate import Climate
from controller.core.climate.siblings import APART
from controller.core.frames import Event, Frame, Outputs, all_good
from controller.core.loops.allocation import Demands
from controller.core.orders.procedure import AT_REST
from controller.core.points import Point, of_kind
from controller.core.product.product import Product
from controller.core.protection.protection import Verdict
from controller.core.quick import maker
from controller.core.rows.alarms import ALARMS, BY_HAND, OWN, PRIORITIES, TOLD, TRIPS, AlarmRow, trip_of
from controller.core.rows.heat_words import HeatKind, worded
from controller.core.rows.protection import Row
from controller.core.sequence.phases import SequenceState
from controller.core.setpoints import Targets
from controller.core.signals.frozen import FROZEN

__all__ = ["ActiveAlarm", "AlarmPlan", "AlarmState", "AlarmsConfig", "active_list", "bind", "initial", "update"]


@dataclass(frozen=True, slots=True)
class AlarmPlan:
    """The section, with tags as columns. good: qualities while all is well.  contacts_of: automatic switches, mains,
    battery supply (mains again where there is none); closed while all is well.

    rows: ALARMS, then one for every row that the chamber adds to the protection, with their manners, and the number of
    each tag. orders: what may be done to which. steady: numbers of rows that hold the healthy relay dropped.
    losses: None where nobody says what drives the outputs.
    """

    config: AlarmsConfig
    good: tuple[int, ...]
    has_battery: bool
    contacts_of: Callable[[tuple[bool, ...]], tuple[bool, ...]]
    lamps: Lamps
    rows: tuple[AlarmRow, ...]
    manners: tuple[Manner, ...]
    numbers: dict[str, int]
    orders: Orders
    steady: frozenset[int]
    losses: LossPlan | None = None


@dataclass(frozen=True, slots=True)
class AlarmState:
    """lives: (number in the plan's rows, its life) of every alarm that is not at rest. hidden: kept from sight, and
    why. rate: how many came of late. told: what the runtime tells of itself. silenced: the horn, by a person.
    losses: what comes or does not come, against what was commanded.
    """

    lives: tuple[tuple[int, Life], ...]
    means: Means
    hidden: tuple[Hidden, ...]
    rate: Rate
    told: tuple[str, ...] = ()
    silenced: bool = False
    losses: Losses = NO_LOSSES


@dataclass(frozen=True, slots=True)
class ActiveAlarm:
    """One line of the list, made when asked for; never on the scan. state: a letter of `life`.
    hidden: why it is kept from sight, "" when it is not.
    """

    row: AlarmRow
    from_s: float
    state: str
    hidden: str


_state = maker(AlarmState)
_NONE: tuple[Event, ...] = ()
NOBODY = (False, False, False, False)
_OWN_COUNT = len(OWN)
_UNKNOWN: tuple[float, ...] = (-100.0,) * sum(row.working_only for row in OWN)  # while the chamber is at rest

def bind(
    config: AlarmsConfig, points: tuple[Point, ...], added: tuple[Row, ...] = (), heat: HeatKind = "water",
    drives: ActuationPlan | None = None,
) -> AlarmPlan:
    """Tags to columns. added: rows that the chamber adds to the protection. heat: what its rows speak of. drives: None
    where only the words are wanted.

    ConfigError with every unknown tag.
    """
    trips = tuple(trip_of(row) for row in added)
    rows = worded(ALARMS, heat) + trips
    binder = Binder("alarms", points)
    mains = binder.column("mains", config.mains, "DI")
    battery = binder.column("battery", config.battery, "DI") if config.battery else mains
    switches = [binder.column("in_hand", tag, "DI") for tag in config.in_hand] or [mains]
    numbers = {one.tag: number for number, one in enumerate(rows)}
    told = tuple(one.tag for one in TOLD)
    for tag in config.respond_min:
        if tag not in numbers:
            binder.refuse(f"respond_min.{tag}", tag, f"must be one of {', '.join(sorted(numbers))}", "correct the tag")
    plan = AlarmPlan(
        config, all_good(len(of_kind(points, "AI"))), bool(config.battery),
        itemgetter(switches[0], *switches[1:], mains, battery),
        alarm_lamps.bind(config, binder, points), rows, tuple(_manner(one) for one in rows), numbers,
        Orders(frozenset(numbers), frozenset((*(one.tag for one in TRIPS + trips), *told, *BY_HAND)), frozenset(told)),
        frozenset(number for number, one in enumerate(rows) if one.priority == "high" or one.tag in told),
        None if drives is None else alarm_losses.bind(config.losses, drives),
    )
    binder.done()
    return plan


def initial(_plan: AlarmPlan) -> AlarmState:
    """Nothing active."""
    return AlarmState((), NO_MEANS, (), QUIET)


def active_list(plan: AlarmPlan, state: AlarmState) -> tuple[ActiveAlarm, ...]:
    """What a person has to see, and what is hidden: most urgent first, then oldest first, hidden ones last."""
    reasons = {entry.tag: entry.reason for entry in state.hidden}
    found = [
        ActiveAlarm(plan.rows[number], life.from_s, letter(life), reasons.get(plan.rows[number].tag, ""))
        for number, life in state.lives
        if letter(life) != "N"
    ]
    return tuple(sorted(found, key=lambda one: (bool(one.hidden), -PRIORITIES.index(one.row.priority), one.from_s)))


def update(
    plan: AlarmPlan,
    state: AlarmState,
    outputs: Outputs,
    frame: Frame,
    climate: Climate,
    targets: Targets,
    demands: Demands,
    product: Product,
    sequence: SequenceState,
    verdict: Verdict,
    now_s: float,
    dt_s: float,
    people: tuple[bool, bool, bool, bool] = NOBODY,
) -> tuple[AlarmState, Outputs, tuple[Event, ...]]:
    """One scan of all alarms. Returns outputs with beacon, horn and healthy relay as the alarms want them.

    See lamps.py; the healthy relay drops while something of high priority is active or latched, and while the
    runtime has trouble of its own. people: is anything overridden, does a lock hang, is work overdue, does product
    stand in a cycle that was broken off?
    """
    working = sequence.state not in AT_REST
    beats = now_s // MEAN_EVERY_S - (now_s - dt_s) // MEAN_EVERY_S
    if beats or (sequence.trail and "running" in sequence.trail):
        span_s = beats * MEAN_EVERY_S
        means = with_means(plan.config, state.means, demands, product, sequence, working, span_s, targets.empty)
        losses = _lost(plan, state.losses, outputs, frame, climate, verdict, people[0], span_s)
        state = _state(state.lives, means, state.hidden, state.rate, state.told, state.silenced, losses)
    if (
        not state.lives
        and not state.hidden
        and not state.rate.recent
        and not sequence.for_alarms
        and not verdict.trips
        and people is NOBODY
        and not frame.age_scans
        and not state.losses.any
        and (frame.qualities is plan.good or not _told_of(frame))
        and False not in plan.contacts_of(frame.discrete)
        and not (working and any_beyond(plan.config, state.means, climate, targets, product, sequence))
    ):
        return state, signal(plan.lamps, outputs, plan.lamps.quiet), _NONE
    kept, heard = take(plan.orders, Kept(state.hidden, state.told, state.silenced), sequence.for_alarms, now_s)
    judged = excesses(plan.config, state.means, climate, targets, product, sequence) if working else _UNKNOWN
    beyond = (*judged, *_beyond(plan, frame, people, state.losses, kept.told, verdict))
    assert len(beyond) == len(plan.rows), "a row without an excess: all after it are mixed up"
    unseen = {plan.numbers[entry.tag] for entry in kept.hidden}
    lives, came, told = _live_all(plan, state.lives, beyond, sequence, unseen, heard, now_s, dt_s)
    rate, busy = count(state.rate, came, now_s)
    shown = _shown(plan, lives, unseen)
    silenced = kept.silenced and bool(shown) and all(plan.rows[plan.numbers[tag]].priority == "low" for tag in came)
    state = _state(lives, state.means, kept.hidden, rate, kept.told, silenced, state.losses)
    wanted = alarm_lamps.states(plan.lamps, shown, silenced)
    return state, signal(plan.lamps, outputs, wanted), (*heard.events, *told, *busy)


def _beyond(
    plan: AlarmPlan, frame: Frame, people: tuple[bool, bool, bool, bool], losses: Losses, told: tuple[str, ...],
    verdict: Verdict,
) -> tuple[float, ...]:
    """The excesses of every alarm that is judged at rest too, in the order of the rows."""
    *switches, mains, battery = plan.contacts_of(frame.discrete)
    *hands, left = people
    found = (
        left, 2 in frame.qualities, FROZEN in frame.reasons, APART in frame.reasons, bool(frame.age_scans),
        False in switches, not mains, plan.has_battery and not battery, *hands,
        losses.air, losses.heat, losses.fog,
        *[row.tag in told for row in TOLD], *[row.tag in verdict.trips for row in plan.rows[_OWN_COUNT:]],
    )
    return tuple([1.0 if one else -1.0 for one in found])


def _lost(
    plan: AlarmPlan, was: Losses, outputs: Outputs, frame: Frame, climate: Climate, verdict: Verdict, by_hand: bool,
    span_s: float,
) -> Losses:
    """What is lost unseen, while the outputs are what the drives do and air flow is not proven to be lost anyway."""
    if plan.losses is None:
        return was
    trusted = not (by_hand or frame.age_scans or False in plan.contacts_of(frame.discrete))
    return alarm_losses.follow(
        plan.losses, was, outputs, climate, trusted and "airflow-lost" not in verdict.trips, span_s
    )


def _told_of(frame: Frame) -> bool:
    """Is there a channel that an alarm tells of?"""
    return 2 in frame.qualities or FROZEN in frame.reasons or APART in frame.reasons


def _live_all(
    plan: AlarmPlan, lives: tuple[tuple[int, Life], ...], beyond: tuple[float, ...], sequence: SequenceState,
    unseen: set[int], heard: Heard, now_s: float, dt_s: float,
) -> tuple[tuple[tuple[int, Life], ...], tuple[str, ...], tuple[Event, ...]]:
    """Every life one scan on. Returns those not at rest, tags that came in sight, and events of what comes or goes."""
    before = dict(lives)
    back = {plan.numbers[tag] for tag in heard.back}
    noticed = {plan.numbers[tag] for tag in heard.acknowledged}
    kept: list[tuple[int, Life]] = []
    came: list[str] = []
    events: list[Event] = []
    for number in sorted({*before, *[number for number, excess in enumerate(beyond) if excess >= 0.0]}):
        was, row = before.get(number, NORMAL), plan.rows[number]
        life = live(
            plan.manners[number], was, beyond[number], acknowledge=sequence.acknowledge or number in noticed,
            reset=bool(sequence.reset), now_s=now_s, dt_s=dt_s,
        )
        if number in back and life.active:
            life = Life(life.beyond, life.held_s, True, True, life.latched, life.from_s)
            came.append(row.tag)
        if life.active is not was.active:
            events.append(_event(row, "comes" if life.active else "goes", life.from_s, number not in unseen))
            if life.active and number not in unseen:
                came.append(row.tag)
        if not at_rest(life):
            kept.append((number, life))
    return tuple(kept), tuple(came), tuple(events)


def _shown(plan: AlarmPlan, lives: tuple[tuple[int, Life], ...], unseen: set[int]) -> list[Shown]:
    """What is in sight."""
    return [
        Shown(plan.rows[number].priority, life.active, life.unacked,
              number in plan.steady and (life.active or life.latched))
        for number, life in lives
        if number not in unseen and letter(life) != "N"
    ]


def _manner(row: AlarmRow) -> Manner:
    return Manner(
        on_s=row.on_s, off_s=row.off_s, deadband=row.deadband, latch=row.latch, clears=row.priority == "low"
    )


def _event(row: AlarmRow, what: str, from_s: float, shown: bool) -> Event:
    text = f"{row.text}: {row.cause}" if what == "comes" else f"{row.text}: over"
    return Event("alarm", row.tag, text, (
        ("what", what), ("priority", row.priority), ("from_s", from_s), ("shown", shown),
        ("consequence", row.consequence), ("action", row.action),
    ))
