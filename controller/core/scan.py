"""The composition of one scan: what came in -> what goes out, pure and in one fixed order.

signals -> climate -> commands and sequence -> constraints -> allocation (loops) -> actuation -> protection ->
alarms -> product -> invariants. Nothing is skipped and nothing else writes outputs. The same plan, state, inputs,
commands and time give the same outputs bit for bit, so a recorded run can be replayed as a test.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from controller.core.actuation import actuation
from controller.core.actuation.actuation import Achieved, ActuationPlan, ActuationState
from controller.core.alarms import alarms
from controller.core.alarms.alarms import AlarmPlan, AlarmState
from controller.core.climate import climate
from controller.core.climate.climate import Climate, ClimatePlan, ClimateState
from controller.core.climate.siblings import AGREED, SiblingsPlan, SiblingsState
from controller.core.columns import COMPUTED as COMPUTED
from controller.core.frames import Command, Event, Frame, Outputs, RawInputs, tripped_unseen
from controller.core.hand import effects as hand_effects
from controller.core.hand import lock_out
from controller.core.hand import orders as hand_orders
from controller.core.hand.effects import Hands
from controller.core.hand.register import UNTOUCHED, ByHand, ByHandPlan
from controller.core.hand.register import live as hands_now
from controller.core.invariants import invariants
from controller.core.invariants.invariants import InvariantPlan, Memory
from controller.core.judged import judge
from controller.core.loops import allocation, constraints
from controller.core.loops.allocation import AllocationPlan, AllocationState, Demands
from controller.core.loops.constraints import ConstraintPlan, Limits
from controller.core.orders.commands import left_to_people
from controller.core.orders.procedure import CONTROLLED
from controller.core.product import charges, gap, moves, product
from controller.core.product.charges import ChargePlan, ChargeState
from controller.core.product.product import Product, ProductPlan, ProductState
from controller.core.protection import protection
from controller.core.protection.protection import ProtectionPlan, ProtectionState, Verdict
from controller.core.quick import maker
from controller.core.rows.protection import taken as taken_by
from controller.core.sequence import sequence, setaside
from controller.core.sequence.phases import PhasePlan
from controller.core.sequence.recipe import ChamberLimits
from controller.core.sequence.sequence import SequencePlan, SequenceState
from controller.core.sequence.setaside import AsidePlan, AsideState
from controller.core.setpoints import Targets
from controller.core.signals import frozen, signals
from controller.core.signals.frozen import FrozenPlan, FrozenState
from controller.core.signals.signals import SignalPlan, SignalState
from controller.core.upkeep import upkeep
from controller.core.upkeep.upkeep import UpkeepPlan, UpkeepState


@dataclass(frozen=True, slots=True)
class ScanPlan:
    """Everything bound once before the first scan. dt_s is the scan; it never stretches."""

    dt_s: float
    signals: SignalPlan
    frozen: FrozenPlan
    climate: ClimatePlan
    sequence: SequencePlan
    constraints: ConstraintPlan
    allocation: AllocationPlan
    actuation: ActuationPlan
    protection: ProtectionPlan
    alarms: AlarmPlan
    product: ProductPlan
    invariants: InvariantPlan
    charges: ChargePlan
    aside: AsidePlan
    by_hand: ByHandPlan
    upkeep: UpkeepPlan
    siblings: SiblingsPlan
    limits: ChamberLimits


@dataclass(frozen=True, slots=True)
class ScanState:
    """All that one scan hands to the next; JSON-able, it is the checkpoint.

    greeting_s: for so long yet a tripped watchdog of the panel is that of an outage which is over, and no trip.
    """

    signals: SignalState
    frozen: FrozenState
    climate: ClimateState
    sequence: SequenceState
    allocation: AllocationState
    actuation: ActuationState
    protection: ProtectionState
    alarms: AlarmState
    product: ProductState
    seen: Product
    achieved: Achieved
    outputs: Outputs
    effect: str
    charges: ChargeState
    aside: AsideState
    memory: Memory = invariants.FRESH
    demands: Demands | None = None  # of the scan before, where a phase may have to keep them
    by_hand: ByHand = UNTOUCHED
    upkeep: UpkeepState = upkeep.FRESH
    siblings: SiblingsState = AGREED
    greeting_s: float = 0.0


@dataclass(frozen=True, slots=True)
class ScanResult:
    """What one scan found and decided. `broken` names invariants that do not hold (none is normal)."""

    state: ScanState
    outputs: Outputs
    events: tuple[Event, ...]
    broken: tuple[str, ...]
    frame: Frame
    climate: Climate
    targets: Targets
    limits: Limits
    demands: Demands
    verdict: Verdict


NO_EVENTS: tuple[Event, ...] = ()
_state = maker(ScanState)
_result = maker(ScanResult)


def initial(plan: ScanPlan, *, mix_degC: float, age_h: float = 0.0) -> ScanState:
    """The state before the first scan: idle, every output at rest, product as mixed."""
    product_state = product.initial(plan.product, mix_degC, age_h)
    charge_state = charges.initial(plan.charges, mix_degC, age_h)
    if charge_state.places:
        product_state, _ = charges.seen_now(plan.charges, charge_state, product_state)
    actuation_state = actuation.initial(plan.actuation)
    return ScanState(
        signals=signals.initial(plan.signals),
        frozen=frozen.initial(plan.frozen),
        climate=climate.initial(plan.climate),
        sequence=sequence.initial(plan.sequence),
        allocation=allocation.initial(plan.allocation),
        actuation=actuation_state,
        protection=protection.initial(plan.protection),
        alarms=alarms.initial(plan.alarms),
        product=product_state,
        seen=product.seen_at_start(plan.product, product_state),
        achieved=actuation.achieved_at_start(plan.actuation),
        outputs=actuation.outputs_at_rest(plan.actuation),
        effect="none",
        charges=charge_state,
        aside=setaside.initial(plan.aside),
        upkeep=upkeep.initial(plan.upkeep),
    )


def scan(
    plan: ScanPlan, state: ScanState, raw: RawInputs, commands: tuple[Command, ...], now_s: float
) -> ScanResult:
    """One scan. `now_s` is time since the record began; it stamps alarms and ends what people have overridden."""
    dt_s = plan.dt_s
    signal_state, frozen_state, siblings_state, frame, probe_events = judge(plan, state, raw, now_s)
    by_hand, hands, shown = state.by_hand, None, frame
    if not by_hand.idle:
        by_hand, hands, frame, shown, probe_events = _hands(plan, state, frame, probe_events, now_s)
    charge_state, aside, seen = state.charges, state.aside, state.seen
    if charge_state.places:
        aside = setaside.watch(plan.aside, aside, frame, _phase(plan, state.sequence), charge_state.young, dt_s)
    climate_state, air = climate.observe(plan.climate, state.climate, frame, dt_s, aside.mask)
    sequence_state, targets, sequence_events = sequence.advance(
        plan.sequence, state.sequence, left_to_people(commands) if commands and state.protection.kept else commands,
        air, seen, state.effect, dt_s, state.alarms.means.fighting,
        lock_out.said(by_hand.locks) if by_hand.locks else "", by_hand.trims[0],
    )  # fmt: skip
    standing = bool(charge_state.places) and _doors_are_work(plan, sequence_state)
    by_hand, targets, limits, allocation_state, demands = _regulate(
        plan, state, sequence_state, by_hand, hands is not None, targets, air, aside, standing
    )
    actuation_state, wanted, achieved = actuation.actuate(
        plan.actuation, state.actuation, demands, air, frame, dt_s, state.outputs
    )
    if hands is not None:
        wanted = hand_effects.outputs(plan.by_hand, by_hand, wanted)
    known_trips = state.memory.watchdog_trips
    protection_state, outputs, verdict = protection.guard(
        plan.protection, state.protection, wanted, frame, air, sequence_state.state, sequence_state.reset, dt_s,
        not state.greeting_s and (raw.watchdog_tripped
        or (raw.watchdog_trips != known_trips and tripped_unseen(known_trips, raw.watchdog_trips))),
        standing, hands, state.upkeep.duty.stale,
    )  # fmt: skip
    overdue = state.upkeep.duty.overdue
    left = sequence_state.state == "aborted" and _left(plan, state, sequence_state.phase)
    alarm_state, outputs, alarm_events = alarms.update(
        plan.alarms, state.alarms, outputs, frame, air, targets, demands, seen, sequence_state, verdict, now_s, dt_s,
        alarms.NOBODY if by_hand.idle and not overdue and not left else (*by_hand.said, bool(overdue), left),
    )  # fmt: skip
    if hands is not None:
        outputs = hand_effects.lamps(plan.by_hand, by_hand, outputs)
    charge_state, product_state, seen, told = _racks(
        plan, state, sequence_state, frame, air, aside.open_s > 0.0 or verdict.effect == "door", now_s
    )
    upkeep_state, by_hand, more = _tended(plan, state, by_hand, shown, outputs, sequence_state, demands, now_s)
    measured = (frame, air) if hands is None else (hands.frame, hands.air)
    memory = invariants.follow(plan.invariants, state.memory, raw, *measured, verdict, sequence_state, commands)
    after = _state(
        signal_state, frozen_state, climate_state, sequence_state, allocation_state, actuation_state,
        protection_state, alarm_state, product_state, seen, achieved, outputs, verdict.effect,
        charge_state, aside, memory, demands if standing else None, by_hand,
        upkeep_state, siblings_state, state.greeting_s and max(0.0, state.greeting_s - dt_s),
    )  # fmt: skip
    events = probe_events + sequence_events + verdict.events + told + more + alarm_events
    broken = invariants.check(
        plan.invariants, state, after, frame, air, targets, verdict, commands, events,
        None if hands is None else wanted,
    )  # fmt: skip
    return _result(after, outputs, events, broken, shown, air, targets, limits, demands, verdict)


def _regulate(
    plan: ScanPlan, state: ScanState, sequence_state: SequenceState, by_hand: ByHand, handed: bool, targets: Targets,
    air: Climate, aside: AsideState, standing: bool,
) -> tuple[ByHand, Targets, Limits, AllocationState, Demands]:
    """Setpoints, what narrows them, and what the chamber is asked for. handed: people have overridden something."""
    if handed:
        targets = hand_effects.targets(by_hand, plan.limits, targets)
    limits = constraints.narrow(plan.constraints, targets, air, state.seen)
    if standing and aside.open_s > 0.0:
        targets = replace(targets, fog=False)  # its banks serve all bays
    kept = state.demands if standing and _keeps(plan, sequence_state, aside) else None
    allocation_state, demands = (state.allocation, kept) if kept is not None else allocation.allocate(
        plan.allocation, state.allocation, targets, limits, air, state.seen, state.achieved, plan.dt_s
    )
    if handed:
        by_hand, allocation_state, demands = hand_effects.demands(
            plan.by_hand, by_hand, state.allocation, allocation_state, demands, limits.heat_kW_max, air, plan.dt_s
        )
    return by_hand, targets, limits, allocation_state, demands


def _hands(
    plan: ScanPlan, state: ScanState, measured: Frame, events: tuple[Event, ...], now_s: float
) -> tuple[ByHand, Hands, Frame, Frame, tuple[Event, ...]]:
    """What people have overridden, one scan on: for protection, the frame that control works with, the one to show."""
    ending = any(entered in ("stopping", "aborting", "complete") for entered in state.sequence.trail)
    guard = state.protection
    taken = guard.kept
    if not guard.quiet:
        taken |= taken_by(row.tag for row, is_now in zip(plan.protection.rows, guard.tripped, strict=True) if is_now)
    by_hand, more = hands_now(plan.by_hand, state.by_hand, ending, now_s, plan.dt_s, taken)
    frame, shown = hand_effects.inputs(plan.by_hand, by_hand, plan.signals, measured)
    _, air = climate.observe(plan.climate, state.climate, measured, plan.dt_s, state.aside.mask)
    rows = hand_effects.bypassed(plan.by_hand, by_hand)
    return by_hand, Hands(rows, measured, air, bool(by_hand.locks)), frame, shown, (*events, *more)


def _tended(
    plan: ScanPlan, state: ScanState, by_hand: ByHand, frame: Frame, outputs: Outputs, sequence_state: SequenceState,
    demands: Demands, now_s: float,
) -> tuple[UpkeepState, ByHand, tuple[Event, ...]]:
    """Hours of drives, what is due, and the orders of people that are answered here."""
    orders, answers, tended, told = sequence_state.passed_on, NO_EVENTS, state.upkeep, NO_EVENTS
    if orders:
        by_hand, answers = hand_orders.take(plan.by_hand, by_hand, orders, demands, now_s)
    if orders or not plan.upkeep.idle:
        same = outputs.discrete == state.outputs.discrete
        tended, told = upkeep.follow(plan.upkeep, tended, frame, outputs, orders, now_s, same)
    return tended, by_hand, (*answers, *told) if answers or told else NO_EVENTS


def _phase(plan: ScanPlan, state: SequenceState) -> PhasePlan | None:
    """The phase that is carried out now, None when none is."""
    return plan.sequence.phases[state.phase] if state.phase >= 0 and state.state in CONTROLLED else None


def _left(plan: ScanPlan, state: ScanState, ended: int) -> bool:
    """Does product stand in a cycle that was broken off in this phase? (The recipe may be another one meanwhile.)"""
    phases = plan.sequence.phases
    return not (ended < len(phases) and phases[ended].targets.empty) and charges.stands(plan.charges, state.charges)


def _doors_are_work(plan: ScanPlan, state: SequenceState) -> bool:
    phase = _phase(plan, state)
    return phase is not None and phase.on_door_stand


def _keeps(plan: ScanPlan, state: SequenceState, aside: AsideState) -> bool:
    """Do the loops keep asking for what they asked for before the door opened?"""
    return state.state == "running" and setaside.keeps(aside, plan.sequence.phases[state.phase])


def _racks(
    plan: ScanPlan, state: ScanState, sequence_state: SequenceState, frame: Frame, air: Climate, door: bool,
    now_s: float,
) -> tuple[ChargeState, ProductState, Product, tuple[Event, ...]]:
    """What stands in the racks: the orders of this scan, then its time, place by place or as one charge. They are full
    or empty only once the doors count as shut: what begins then would be stopped by the door of the last trip."""
    charge_state, product_state, events = state.charges, state.product, NO_EVENTS
    if sequence_state.passed_on:
        charge_state, product_state, _, events = moves.apply(
            plan.charges, charge_state, product_state, sequence_state.passed_on, now_s
        )
    if charge_state.places:
        charge_state, product_state, seen = charges.follow(
            plan.charges, charge_state, product_state, frame, air, plan.dt_s
        )
        if door and (seen.full or seen.empty):
            seen = replace(seen, full=False, empty=False)
    else:
        product_state, seen = product.follow(plan.product, product_state, frame, air, plan.dt_s)
    if product_state.uncertain_s > state.product.uncertain_s:
        events = (*events, gap.told(state.product.uncertain_s, product_state))
    return charge_state, product_state, seen, events


def values(result: ScanResult) -> tuple[float, ...]:
    """The computed columns of one scan, in the order of COMPUTED."""
    air, targets, limits, demands, seen = (
        result.climate,
        result.targets,
        result.limits,
        result.demands,
        result.state.seen,
    )
    return (
        air.temperature_degC,
        air.coldest_degC,
        air.hottest_degC,
        air.spread_K,
        air.dew_point_degC,
        air.rh_pct,
        air.surface_degC,
        air.dew_margin_K,
        targets.floor_degC,
        targets.ceiling_degC,
        limits.dew_lo_degC,
        limits.dew_hi_degC,
        demands.heat_kW,
        demands.vent_kg_per_s,
        demands.fog_kg_per_h,
        demands.fighting_kW,
        seen.core_degC,
        seen.core_degC_max,
        seen.age_h_min,
        seen.age_h_mean,
        seen.age_h_max,
        seen.drying_kg_per_m2h,
        result.state.sequence.phase + 1.0,
        float(len(result.state.by_hand.entries)),
    )
