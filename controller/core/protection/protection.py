"""Protection: cause-and-effect rows with delays, latches and first-out. It has the last word on the outputs.

Not a safety function: hard-wired devices protect people and plant, this follows them and spares the product.
De-energise to trip: every contact watched here is closed while all is well. Reset clears latches whose cause has
gone; it never restarts anything: what a hard-wired circuit took stays off until a person restarts the clock, or resets
the cycle that has ended. Besides the rows two rules always hold: no heat without proven air flow, and the fan
runs on after heat.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan
from typing import Protocol

from controller.core.climate.climate import Climate
from controller.core.frames import Event, Frame, Outputs
from controller.core.orders.commands import settled
from controller.core.orders.procedure import AT_REST
from controller.core.orders.verbs import RESET_TRIPS
from controller.core.protection.plan import ProtectionConfig, ProtectionPlan, bind
from controller.core.quick import maker
from controller.core.rows.own import causes as own_causes
from controller.core.rows.protection import (
    EFFECTS,
    FAN,
    FOG,
    FRAME,
    HEAT,
    LOCKED,
    SAFE,
    TAKES,
    VENT_OPEN,
    Row,
)

__all__ = [
    "HEALTHY", "Hands", "ProtectionConfig", "ProtectionPlan", "ProtectionState", "Verdict", "bind", "guard", "initial",
]


@dataclass(frozen=True, slots=True)
class ProtectionState:
    """timer_s: per row, time the cause has been there (positive) or gone (negative).  tripped: per row.

    first_out: the rows that tripped first, kept until none is tripped.  fan_s: time since the fan was switched on, up
    to startup_s.  run_on_s: what is left of the run-on.  valve_cap_pct: how far the valve may open after a block.
    kept: what hard-wired circuits took (bits of the rows) and nobody has given back.
    quiet: no timer, trip, cap or kept block is at work.
    """

    timer_s: tuple[float, ...]
    tripped: tuple[bool, ...]
    first_out: tuple[str, ...]
    fan_s: float
    run_on_s: float
    valve_cap_pct: float
    quiet: bool
    kept: int = 0


class Hands(Protocol):
    """What people have overridden, as far as protection must know. bypassed: numbers of rows. frame, air: as measured.
    locked: somebody's lock hangs."""

    @property
    def bypassed(self) -> tuple[int, ...]: ...
    @property
    def frame(self) -> Frame: ...
    @property
    def air(self) -> Climate: ...
    @property
    def locked(self) -> bool: ...


@dataclass(frozen=True, slots=True)
class Verdict:
    """What protection did in this scan. effect: on the sequence from the next scan on ("none", "door", "hold",
    "abort"). trips: tags of tripped rows. blocked: "heat", "fog", "fan", "frame heat". forced: an output was changed.
    """

    effect: str
    trips: tuple[str, ...]
    blocked: tuple[str, ...]
    events: tuple[Event, ...]
    forced: bool
    first_out: tuple[str, ...]


_state = maker(ProtectionState)
HEALTHY = Verdict("none", (), (), (), False, ())
_FULL_PCT = 100.0
STAYS_OFF = "what it took stays off until the clock is restarted"
STAYS_OFF_AT_END = "what it took stays off until the cycle is reset"
_STOPPED = ("holding", "held")  # of a cycle whose clock stands until somebody restarts it
_WAITS = (*_STOPPED, "stopping", "stopped", "aborting", "aborted", "complete")  # left by an order of a person only
_NAMES = ((HEAT, "heat"), (FOG, "fog"), (FAN, "fan"), (FRAME, "frame heat"))


def initial(plan: ProtectionPlan) -> ProtectionState:
    """Nothing tripped, fan off."""
    count = len(plan.rows)
    return ProtectionState((0.0,) * count, (False,) * count, (), 0.0, 0.0, _FULL_PCT, True)


def guard(
    plan: ProtectionPlan,
    state: ProtectionState,
    outputs: Outputs,
    frame: Frame,
    climate: Climate,
    sequence_state: str,
    reset: tuple[tuple[str, str], ...],
    dt_s: float,
    watchdog_tripped: bool = False,
    standing: bool = False,
    hands: Hands | None = None,
    stale: bool = False,
) -> tuple[ProtectionState, Outputs, Verdict]:
    """Judge every row and overrule the outputs where a row says so, in the scan in which its cause is seen.

    reset: (id, who) of each "reset-trips" in this scan; each is answered by one event here. standing: doors are daily
    work now; an open one is judged by the row "door-long" instead of "door-open". hands: what people have overridden,
    None for nothing; then what was measured is judged beside what stands in its place, and the worse of both counts.
    stale: the fog water may not be sprayed before somebody has flushed it.
    A healthy scan returns the same outputs, HEALTHY, and mostly the same state.
    """
    at_work = sequence_state not in AT_REST
    if (
        state.quiet
        and hands is None
        and not reset
        and not watchdog_tripped
        and not stale
        and _all_well(plan, frame, climate)
        and not (plan.added and True in own_causes(plan.added, frame, at_work))
    ):
        fan = outputs.discrete[plan.fan_run]
        heat = _heats(plan, outputs.analog, outputs.discrete)
        contacts = frame.discrete
        if fan and contacts[plan.airflow] and contacts[plan.fan_runs]:
            run_on_s = plan.run_on_s if heat else state.run_on_s and max(0.0, state.run_on_s - dt_s)
            fan_s = state.fan_s
            if run_on_s == state.run_on_s and fan_s == plan.startup_s:
                return state, outputs, HEALTHY
            fan_s = min(fan_s + dt_s, plan.startup_s)
            return _state(state.timer_s, state.tripped, (), fan_s, run_on_s, _FULL_PCT, True), outputs, HEALTHY
        if not fan and not heat and state.run_on_s == 0.0 and state.fan_s == 0.0:
            return state, outputs, HEALTHY
    causes = _causes(plan, state, outputs, frame, climate, sequence_state, watchdog_tripped, standing, stale)
    proven, locked = frame.discrete[plan.airflow], False
    if hands is not None:
        measured = _causes(
            plan, state, outputs, hands.frame, hands.air, sequence_state, watchdog_tripped, standing, stale
        )
        causes = tuple(
            (cause or other) and number not in hands.bypassed
            for number, (cause, other) in enumerate(zip(causes, measured, strict=True))
        )
        # A fan that people have put off runs on only to carry heat away, not to be heated through.
        proven = proven and hands.frame.discrete[plan.airflow] and outputs.discrete[plan.fan_run]
        locked = hands.locked
    return _judge(plan, state, outputs, causes, proven, reset, dt_s, locked, sequence_state)


def _heats(plan: ProtectionPlan, analog: Sequence[float], discrete: Sequence[bool]) -> bool:
    """Is there heat, as far as outputs tell? Stages are behind the contact that is looked at."""
    return discrete[plan.heat_run] or (plan.heat_valve >= 0 and analog[plan.heat_valve] > 0.0)


def _all_well(plan: ProtectionPlan, frame: Frame, climate: Climate) -> bool:
    """Is no row's cause there? Air flow is judged by the caller, it depends on the fan."""
    if frame.age_scans or not climate.temperature_ok or not climate.moisture_ok:
        return False
    values = frame.values
    if climate.hottest_degC > plan.air_degC_max or values[plan.supply] > plan.supply_degC_max:
        return False
    if plan.supply_bad_counts and isnan(values[plan.supply]):
        return False
    for column in plan.products:
        if values[column] > plan.product_degC_max:
            return False
    return False not in plan.closed_of(frame.discrete)


def _causes(
    plan: ProtectionPlan, state: ProtectionState, outputs: Outputs, frame: Frame, climate: Climate,
    sequence_state: str, watchdog_tripped: bool, standing: bool, stale: bool,
) -> tuple[bool, ...]:
    """Whether each row's cause is there, in the plan's order.

    A missing reading (NaN) is no cause of a hot row, save of the supply where the chamber file says so.
    """
    contacts, values = frame.discrete, frame.values
    at_work = sequence_state not in AT_REST
    door = not all(contacts[column] for column in plan.doors)
    lost = frame.age_scans > plan.link_age_scans_max
    fan_due = (outputs.discrete[plan.fan_run] or state.run_on_s > 0.0) and state.fan_s >= plan.startup_s
    return (
        not contacts[plan.emergency_stop],
        not contacts[plan.limiter],
        not contacts[plan.person_inside],
        fan_due and not (contacts[plan.airflow] and contacts[plan.fan_runs]),
        climate.hottest_degC > plan.air_degC_max,
        values[plan.supply] > plan.supply_degC_max
        or (plan.supply_bad_counts and isnan(values[plan.supply]) and not lost),
        any(values[column] > plan.product_degC_max for column in plan.products),
        door and not standing,
        not climate.temperature_ok and not lost,  # silence of the whole link is one cause, not three
        not climate.moisture_ok and not lost,
        lost,
        watchdog_tripped and at_work,  # at rest it is how a panel greets a controller that has just started
        at_work and not contacts[plan.fog_pressure],  # at rest the fog water may be shut off
        door and standing,
        stale and (at_work or any(outputs.discrete[column] for column in plan.fog_valves)),  # at rest nobody needs it
        *own_causes(plan.added, frame, at_work),
    )


def _judge(
    plan: ProtectionPlan, state: ProtectionState, outputs: Outputs, causes: tuple[bool, ...], proven: bool,
    reset: tuple[tuple[str, str], ...], dt_s: float, locked: bool, sequence_state: str,
) -> tuple[ProtectionState, Outputs, Verdict]:
    """Timers, latches and first-out of every row, then what is left of the outputs; a lock takes all that moves.

    What a hard-wired circuit took stays off after its reset too, until a person lets the cycle go on or ends it.
    """
    events: list[Event] = []
    timers: list[float] = []
    tripped: list[bool] = []
    mask, effect, new = (LOCKED, EFFECTS.index("hold"), []) if locked else (0, 0, [])
    waits = sequence_state in _WAITS
    kept, still, run_on_s = state.kept if waits else 0, list[str](), state.run_on_s
    for row, cause, before, was in zip(plan.rows, causes, state.timer_s, state.tripped, strict=True):
        timer, is_now = _follow(row, cause, before, was, bool(reset), dt_s)
        timers.append(timer)
        tripped.append(is_now)
        if is_now:
            mask |= row.blocks
            effect = max(effect, EFFECTS.index(row.effect))
            if not was:
                new.append(row)
            if reset and row.latch:
                still.append(row.text)
        elif was:
            taken = TAKES.get(row.tag, 0)
            kept |= taken if waits else 0
            run_on_s = 0.0 if taken & FAN else run_on_s
            events.append(_gone(row, sequence_state))
        if cause:
            mask |= row.at_once
    first_out = state.first_out if any(state.tripped) else tuple(row.tag for row in new)
    events.extend(_tripped(row, row.tag in first_out) for row in new)
    for id_, who in reset:
        events.append(settled(id_, RESET_TRIPS, who, f"still there: {', '.join(still)}" if still else ""))
    quiet = not (any(tripped) or any(timers))
    state, final, forced, blocked = _overrule(
        plan, state, outputs, mask | kept, proven, dt_s, tuple(timers), tuple(tripped),
        first_out if not quiet else (), kept, run_on_s,
    )
    if not (blocked or forced or events or not quiet):
        return state, final, HEALTHY
    trips = tuple(row.tag for row, is_now in zip(plan.rows, tripped, strict=True) if is_now)
    return state, final, Verdict(EFFECTS[effect], trips, blocked, tuple(events), forced, state.first_out)


def _follow(row: Row, cause: bool, timer: float, tripped: bool, reset: bool, dt_s: float) -> tuple[float, bool]:
    """One row's timer and trip. A latched trip goes with reset once its cause has gone, others by themselves."""
    if cause:
        timer = min(max(timer, 0.0) + dt_s, row.delay_s)
        return timer, tripped or timer >= row.delay_s
    if not tripped:
        return 0.0, False
    if row.latch:
        return 0.0, not reset
    timer = min(timer, 0.0) - dt_s
    return (timer, True) if timer > -row.release_s else (0.0, False)


def _gone(row: Row, sequence_state: str) -> Event:
    what = "reset" if row.latch else "over"
    if row.tag in TAKES and sequence_state in _WAITS:
        what = f"reset; {STAYS_OFF if sequence_state in _STOPPED else STAYS_OFF_AT_END}"
    return Event("reset", row.tag, f"{row.text}: {what}")


def _tripped(row: Row, first: bool) -> Event:
    return Event("trip", row.tag, f"{row.text}: {row.cause}", (
        ("effect", row.effect), ("latched", row.latch), ("first_out", first), ("consequence", row.consequence),
        ("action", row.action),
    ))


def _overrule(
    plan: ProtectionPlan, state: ProtectionState, outputs: Outputs, mask: int, proven: bool, dt_s: float,
    timers: tuple[float, ...], tripped: tuple[bool, ...], first_out: tuple[str, ...], kept: int, left_s: float,
) -> tuple[ProtectionState, Outputs, bool, tuple[str, ...]]:
    """Take away what is blocked, keep the fan on after heat (left_s: of that), open the valve slowly after a block."""
    base = plan.safe if mask & SAFE else outputs
    analog, discrete = list(base.analog), list(base.discrete)
    run_on_s = max(0.0, left_s - dt_s)
    if mask & FAN:
        discrete[plan.fan_run], analog[plan.fan_speed] = False, 0.0
    elif left_s > 0.0 and not discrete[plan.fan_run]:
        discrete[plan.fan_run] = True
        analog[plan.fan_speed] = max(analog[plan.fan_speed], plan.run_on_pct)
    fan = discrete[plan.fan_run]
    if mask & SAFE:
        mask |= HEAT | FOG
    if not (proven and fan):
        mask |= HEAT
    cap = state.valve_cap_pct
    if mask & HEAT:
        cap = 0.0 if plan.heat_valve >= 0 and _heats(plan, analog, discrete) else _FULL_PCT
        discrete[plan.heat_run] = False
        if plan.heat_valve >= 0:
            analog[plan.heat_valve] = 0.0
        for column in plan.heat_stages:
            discrete[column] = False
    elif cap < _FULL_PCT:
        cap += plan.heat_rise_pct_per_s * dt_s
        if cap < analog[plan.heat_valve]:
            analog[plan.heat_valve] = cap
        else:
            cap = _FULL_PCT
    if mask & FOG:
        for column in plan.fog_valves:
            discrete[column] = False
    if mask & FRAME:
        discrete[plan.frame_heat] = False
    if mask & VENT_OPEN:
        analog[plan.vent] = _FULL_PCT
    if _heats(plan, analog, discrete):
        run_on_s = plan.run_on_s
    fan_s = min(state.fan_s + dt_s, plan.startup_s) if fan else 0.0
    final = Outputs(tuple(analog), tuple(discrete))
    forced = final != outputs
    if not forced:
        final = outputs
    quiet = cap == _FULL_PCT and not (kept or any(tripped) or any(timers))
    after = ProtectionState(timers, tripped, first_out, fan_s, run_on_s, cap, quiet, kept)
    return after, final, forced, tuple(name for bit, name in _NAMES if mask & bit)
