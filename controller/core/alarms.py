"""Alarms: on and off delay, deadband, latch, priority; the active list; and beacon, horn and the healthy relay.

An excess is how far something is beyond its limit; above 0 is bad. Every alarm carries cause, consequence and action
(see alarm_rows). Acknowledging silences the horn and clears a latched alarm whose cause has gone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import nan
from operator import itemgetter
from typing import Annotated

from annotated_types import Ge, Gt, Le

from controller.core.alarm_rows import ALARMS, OWN, PRIORITIES, AlarmRow
from controller.core.allocation import Demands
from controller.core.binding import Binder
from controller.core.climate import Climate
from controller.core.frames import Event, Frame, Outputs, all_good
from controller.core.phases import SequenceState
from controller.core.points import Point, of_kind
from controller.core.procedure import AT_REST
from controller.core.product import Product
from controller.core.protection import Verdict
from controller.core.protection_rows import NUMBER
from controller.core.quick import maker
from controller.core.setpoints import Targets


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmsConfig:
    """[alarms]: limits and output tags.

    dew_margin_K_min: below it a surface counts as close to the dew point. drying_*: kg/m2h, at once and as mean since
    the cycle began (over at least mean_h_min; only the positive part counts). in_hand: switches that should be in
    automatic. fighting_share_max: share of the heat of the last hour that may work against the vent; a mean below
    fighting_kW_min is never counted, or a little heat long ago would stop a ramp.
    """

    dew_margin_K_min: Annotated[float, Ge(0), Le(5)] = 0.0
    drying_at_once_max: Annotated[float, Gt(0), Le(10)] = 0.5
    drying_mean_max: Annotated[float, Gt(0), Le(10)] = 0.10
    drying_mean_warn: Annotated[float, Gt(0), Le(10)] = 0.05
    mean_h_min: Annotated[float, Gt(0), Le(48)] = 4.0
    spread_K_max: Annotated[float, Gt(0), Le(20)] = 2.0
    below_floor_K_max: Annotated[float, Gt(0), Le(20)] = 2.0
    above_ceiling_K_max: Annotated[float, Gt(0), Le(20)] = 1.5
    fighting_share_max: Annotated[float, Gt(0), Le(1)] = 0.03
    fighting_kW_min: Annotated[float, Ge(0), Le(100)] = 1.0
    in_hand: tuple[str, ...] = ("HS-111", "HS-112", "HS-113")
    mains: str = "YS-110"
    beacon: str = "YL-190"
    horn: str = "YA-191"
    healthy: str = "YC-192"


@dataclass(frozen=True, slots=True)
class AlarmPlan:
    """The section, with tags as columns. good: qualities while all is well.  contacts_of: automatic switches, then
    mains; closed while all is well.

    tail: column from which beacon, horn and healthy follow each other to the end, -1 when they do not.
    """

    config: AlarmsConfig
    good: tuple[int, ...]
    contacts_of: Callable[[tuple[bool, ...]], tuple[bool, ...]]
    tail: int
    beacon: int
    horn: int
    healthy: int


Line = tuple[int, float, bool, bool, float]


@dataclass(frozen=True, slots=True)
class AlarmState:
    """lines: (number in ALARMS, timer_s, active, unacked, from_s) of every alarm that is active or on its way, nothing
    for the others. timer_s counts up while the alarm is coming and down while it is going, 0 when neither; unacked:
    the horn sounds for it; from_s: when its condition began.

    drying_kg_per_m2, drying_s: positive drying since the cycle began. heat_kW, fight_kW: means over about an hour.
    fighting: heat has worked against the vent too much.
    """

    lines: tuple[Line, ...]
    drying_kg_per_m2: float
    drying_s: float
    heat_kW: float
    fight_kW: float
    fighting: bool


@dataclass(frozen=True, slots=True)
class ActiveAlarm:
    """One line of the active list, made when asked for; never on the scan."""

    row: AlarmRow
    from_s: float
    unacked: bool


_state = maker(AlarmState)
_outputs = maker(Outputs)
_MEAN_S = 3600.0
_MEAN_EVERY_S = 10.0  # the means are brought up so often, it saves a new state in most scans
_NONE: tuple[Event, ...] = ()
_OWN_COUNT = len(OWN)
_UNKNOWN: tuple[float, ...] = (-100.0,) * (_OWN_COUNT - 4)  # the alarms of a working chamber, while it is at rest


def bind(config: AlarmsConfig, points: tuple[Point, ...]) -> AlarmPlan:
    """Tags to columns. Raises ConfigError with every tag that is not there."""
    binder = Binder("alarms", points)
    mains = binder.column("mains", config.mains, "DI")
    switches = [binder.column("in_hand", tag, "DI") for tag in config.in_hand] or [mains]
    beacon, horn, healthy = (
        binder.column(name, getattr(config, name), "DO") for name in ("beacon", "horn", "healthy")
    )
    row = (beacon, horn, healthy) == (beacon, beacon + 1, len(of_kind(points, "DO")) - 1) and healthy == horn + 1
    plan = AlarmPlan(
        config, all_good(len(of_kind(points, "AI"))), itemgetter(switches[0], *switches[1:], mains),
        beacon if row else -1, beacon, horn, healthy,
    )
    binder.done()
    return plan


def initial(_plan: AlarmPlan) -> AlarmState:
    """Nothing active."""
    return AlarmState((), 0.0, 0.0, 0.0, 0.0, False)


def active_list(state: AlarmState) -> tuple[ActiveAlarm, ...]:
    """What is active now, most urgent first, then oldest first."""
    found = [ActiveAlarm(ALARMS[line[0]], from_s=line[4], unacked=line[3]) for line in state.lines if line[2]]
    return tuple(sorted(found, key=lambda alarm: (-PRIORITIES.index(alarm.row.priority), alarm.from_s)))


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
) -> tuple[AlarmState, Outputs, tuple[Event, ...]]:
    """One scan of all alarms. Returns outputs with beacon, horn and healthy relay as the alarms want them.

    The beacon lights while anything is active, the horn sounds while something of high or medium priority is
    unacknowledged, the healthy relay drops (an alarm at whoever listens to it) while something high is active.
    """
    working = sequence.state not in AT_REST
    beats = now_s // _MEAN_EVERY_S - (now_s - dt_s) // _MEAN_EVERY_S
    if beats or (sequence.trail and "running" in sequence.trail):
        state = _with_means(plan.config, state, demands, product, sequence, working, beats * _MEAN_EVERY_S)
    if (
        not state.lines
        and not verdict.trips
        and not frame.age_scans
        and (frame.qualities is plan.good or 2 not in frame.qualities)
        and False not in plan.contacts_of(frame.discrete)
        and not (working and _any_beyond(plan.config, state, climate, targets, product, sequence))
    ):
        return state, _signal(plan, outputs, False, False, True), _NONE
    contacts = plan.contacts_of(frame.discrete)
    excesses = (
        *(_excesses(plan.config, state, climate, targets, product, sequence) if working else _UNKNOWN),
        1.0 if 2 in frame.qualities else -1.0,
        1.0 if frame.age_scans else -1.0,
        1.0 if False in contacts[:-1] else -1.0,
        -1.0 if contacts[-1] else 1.0,
    )
    lines, events = _follow_all(state.lines, excesses, verdict.trips, sequence.acknowledge, now_s, dt_s)
    if lines != state.lines:
        state = _state(lines, state.drying_kg_per_m2, state.drying_s, state.heat_kW, state.fight_kW, state.fighting)
    beacon = horn = False
    healthy = True
    for number, _, active, unacked, _ in lines:
        priority = ALARMS[number].priority
        if active:
            beacon = True
            healthy = healthy and priority != "high"
        horn = horn or (unacked and priority != "low")
    return state, _signal(plan, outputs, beacon, horn, healthy), events


def _with_means(
    config: AlarmsConfig, state: AlarmState, demands: Demands, product: Product, sequence: SequenceState,
    working: bool, span_s: float,
) -> AlarmState:
    """Drying since the cycle began, and heat against vent over about the last hour, brought up by span_s."""
    drying, drying_s = state.drying_kg_per_m2, state.drying_s
    heat = fight = 0.0
    if sequence.trail and sequence.cycle_s == 0.0:
        drying = drying_s = 0.0
    if working:
        if product.ok:
            drying_s += span_s
            if product.drying_kg_per_m2h > 0.0:
                drying += product.drying_kg_per_m2h * span_s / 3600.0
        share = span_s / (_MEAN_S + span_s)
        heat = state.heat_kW + (demands.heat_kW - state.heat_kW) * share
        fight = state.fight_kW + (demands.fighting_kW - state.fight_kW) * share
    fighting = fight > config.fighting_share_max * heat and fight > config.fighting_kW_min
    return _state(state.lines, drying, drying_s, heat, fight, fighting)


def _excesses(
    config: AlarmsConfig, state: AlarmState, climate: Climate, targets: Targets, product: Product,
    sequence: SequenceState,
) -> tuple[float, ...]:
    """How far each alarm of a working chamber is beyond its limit, in the order of OWN; NaN where it is not known."""
    mean = climate.temperature_degC
    least_s = config.mean_h_min * 3600.0
    mean_drying = 3600.0 * state.drying_kg_per_m2 / (state.drying_s if state.drying_s > least_s else least_s)
    dries = sequence.hold_start_s is not None and product.surface_degC > climate.dew_point_degC
    return (
        config.dew_margin_K_min - climate.dew_margin_K,
        product.drying_kg_per_m2h - config.drying_at_once_max if product.ok else nan,
        mean_drying - config.drying_mean_max,
        mean_drying - config.drying_mean_warn,
        targets.rh_accept_pct - climate.rh_pct if dries and targets.rh_accept_pct else -100.0,
        climate.spread_K - config.spread_K_max if targets.fan_pct else -100.0,
        targets.floor_degC - config.below_floor_K_max - mean if targets.heat else -100.0,
        mean - targets.ceiling_degC - config.above_ceiling_K_max,
        1.0 if sequence.waiting_long else -1.0,
        1.0 if sequence.state == "held" else -1.0,
        1.0 if state.fighting else -1.0,
    )


def _any_beyond(
    config: AlarmsConfig, state: AlarmState, climate: Climate, targets: Targets, product: Product,
    sequence: SequenceState,
) -> bool:
    """Whether any of `_excesses` is above 0: what nearly every scan asks, so it compares and makes nothing."""
    mean = climate.temperature_degC
    least_s = config.mean_h_min * 3600.0
    mean_drying = 3600.0 * state.drying_kg_per_m2 / (state.drying_s if state.drying_s > least_s else least_s)
    return (
        config.dew_margin_K_min > climate.dew_margin_K
        or (product.ok and product.drying_kg_per_m2h > config.drying_at_once_max)
        or mean_drying > config.drying_mean_warn
        or mean_drying > config.drying_mean_max
        or (
            targets.rh_accept_pct > climate.rh_pct
            and sequence.hold_start_s is not None
            and product.surface_degC > climate.dew_point_degC
            and targets.rh_accept_pct != 0.0
        )
        or (targets.fan_pct != 0.0 and climate.spread_K > config.spread_K_max)
        or (targets.heat and targets.floor_degC - config.below_floor_K_max > mean)
        or mean - targets.ceiling_degC > config.above_ceiling_K_max
        or sequence.waiting_long
        or sequence.state == "held"
        or state.fighting
    )


def _follow_all(
    lines: tuple[Line, ...], excesses: tuple[float, ...], trips: tuple[str, ...], acknowledge: bool, now_s: float,
    dt_s: float,
) -> tuple[tuple[Line, ...], tuple[Event, ...]]:
    """Bring up every line, begin new ones, drop those that are over; events for alarms that come or go."""
    events: list[Event] = []
    kept: list[Line] = []
    tripped = [_OWN_COUNT + NUMBER[tag] for tag in trips]
    beyond = [number for number, excess in enumerate(excesses) if excess > 0.0]
    before = {line[0] for line in lines}
    new: list[Line] = [(number, 0.0, False, False, now_s) for number in (*beyond, *tripped) if number not in before]
    for line in (*lines, *new):
        number, timer, active, unacked, from_s = line
        row = ALARMS[number]
        excess = excesses[number] if number < _OWN_COUNT else (1.0 if number in tripped else -1.0)
        unacked = unacked and not acknowledge
        timer, on = _follow(row, excess, timer, active, dt_s)
        if on and not active:
            unacked = True
            events.append(_event(row, "comes", from_s))
        elif active and not on:
            on = row.latch and unacked
            if not on:
                unacked = False
                events.append(_event(row, "goes", from_s))
        if on or timer > 0.0:
            kept.append((number, timer, on, unacked, from_s))
    return tuple(kept), tuple(events)


def _follow(row: AlarmRow, excess: float, timer: float, active: bool, dt_s: float) -> tuple[float, bool]:
    """One alarm's delay. The timer counts up towards on_s, or down towards -off_s; 0 when nothing is on its way."""
    if not active:
        if not excess > 0.0:
            return 0.0, False
        timer += dt_s
        return (0.0, True) if timer >= row.on_s else (timer, False)
    if not excess < -row.deadband and not (row.deadband == 0.0 and excess <= 0.0):
        return 0.0, True
    timer -= dt_s
    return (0.0, False) if -timer >= row.off_s else (timer, True)


def _event(row: AlarmRow, what: str, from_s: float) -> Event:
    text = f"{row.text}: {row.cause}" if what == "comes" else f"{row.text}: over"
    return Event("alarm", row.tag, text, (
        ("what", what), ("priority", row.priority), ("from_s", from_s), ("consequence", row.consequence),
        ("action", row.action),
    ))


def _signal(plan: AlarmPlan, outputs: Outputs, beacon: bool, horn: bool, healthy: bool) -> Outputs:
    states = outputs.discrete
    if states[plan.beacon] == beacon and states[plan.horn] == horn and states[plan.healthy] == healthy:
        return outputs
    if plan.tail >= 0:
        return _outputs(outputs.analog, (*states[: plan.tail], beacon, horn, healthy))
    changed = list(states)
    changed[plan.beacon], changed[plan.horn], changed[plan.healthy] = beacon, horn, healthy
    return _outputs(outputs.analog, tuple(changed))
