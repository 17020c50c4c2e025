"""What must be true after every scan, in tests and in production. A broken one is a fault of ours, never of the plant.

The checks share no arithmetic with what they check: they look at inputs, outputs and states only. What needs to know
what is really so in a chamber (books, wear of a wire, drives that obey) is judged where a chamber model is at hand.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from controller.core.actuation.actuation import ActuationState
from controller.core.alarms.alarms import AlarmState
from controller.core.alarms.rate import REMEMBERED_MAX
from controller.core.climate.climate import Climate
from controller.core.equipment.actuators import Achieved
from controller.core.frames import Command, Event, Frame, Outputs, RawInputs
from controller.core.invariants.plan import InvariantPlan, InvariantsConfig, bind
from controller.core.invariants.sequence import check_sequence
from controller.core.invariants.taken import follow_taken, gives_back
from controller.core.loops.allocation import AllocationState
from controller.core.orders.commands import MEMORY
from controller.core.protection.protection import HEALTHY, Verdict
from controller.core.quick import maker
from controller.core.rows.protection import FAN, FOG, FRAME, HEAT
from controller.core.sequence.phases import SequenceState
from controller.core.setpoints import Targets
from controller.core.signals.signals import HELD

__all__ = ["FRESH", "NAMES", "InvariantPlan", "InvariantsConfig", "Memory", "bind", "check", "follow"]

NAMES: dict[str, str] = {
    "output-range": "an output is not a number or outside its range",
    "heat-without-air": "heat is on without proven air flow",
    "cause-ignored": "an output is on although a contact or a hot reading has spoken against it",
    "tripped-output-on": "an output is on that a protection blocks in this scan",
    "given-back": "an output is on that a hard-wired circuit took, and nobody has restarted anything since",
    "slew": "an output moved faster than its drive may",
    "owner": "an output is not what its one owner asked for, and no protection took it away",
    "bad-reading-used": "an output regulates on a reading that is not good",
    "reading-order": "the age of the readings or the device's counter went a way it cannot go",
    "procedure-edge": "the sequence changed state in a way the table does not have",
    "unordered": "a cycle started or went on, and nobody had ordered it",
    "phase-fell": "the phase went back, jumped, or changed while the clock stands still",
    "phase-short": "a phase ended before its least time",
    "clock": "a clock went back, or faster than the scan",
    "ramp-rate": "a setpoint moved faster than the chamber allows",
    "band": "the floor asked for lies above the ceiling",
    "integrator": "an integral is not a number or beyond its bound",
    "trip-alarm": "a trip has no alarm, or the alarm of a trip has no trip",
    "alarm-rate": "an alarm came twice in one scan",
    "queue": "something that is remembered grew beyond its maximum",
    "hand-unseen": "a switch is not in automatic, and its drive counts as available or no alarm says so",
    "command-outcome": "a command has no outcome, or more than one",
}
_COUNTER, _NONE = 1 << 32, ()
_CAUSES = 7


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered of the scan before: age of the readings, the device's counter and its watchdog's trips (-1 =
    not yet seen), for how long each cause that the invariants watch has been there, s; empty while none is; and what
    hard-wired circuits have taken and no order has given back, bits of the rows.
    """

    age_scans: int = 0
    counter: int = -1
    since_s: tuple[float, ...] = ()
    watchdog_trips: int = -1
    taken: int = 0


FRESH = Memory()
_memory = maker(Memory)


class Snapshot(Protocol):
    """What is looked at of the state before and after a scan."""

    @property
    def outputs(self) -> Outputs: ...
    @property
    def sequence(self) -> SequenceState: ...
    @property
    def allocation(self) -> AllocationState: ...
    @property
    def actuation(self) -> ActuationState: ...
    @property
    def achieved(self) -> Achieved: ...
    @property
    def alarms(self) -> AlarmState: ...
    @property
    def memory(self) -> Memory: ...


def follow(
    plan: InvariantPlan, memory: Memory, raw: RawInputs, frame: Frame, climate: Climate, verdict: Verdict,
    sequence: SequenceState, commands: tuple[Command, ...],
) -> Memory:
    """The memory one scan on. A missing reading (NaN) is no cause. frame, climate: as measured."""
    values, since_s = frame.values, memory.since_s
    hot = climate.hottest_degC > plan.air_degC_max or values[plan.supply] > plan.supply_degC_max
    for column in plan.products:
        hot = hot or values[column] > plan.product_degC_max
    if hot or since_s or False in plan.closed_of(frame.discrete):
        since_s = _since(plan, since_s, frame, climate)
    taken = memory.taken
    if taken or since_s or verdict is not HEALTHY:
        taken = follow_taken(taken, since_s, verdict.trips, sequence, commands)
    return _memory(raw.age_scans, raw.counter, since_s, raw.watchdog_trips, taken)


def check(
    plan: InvariantPlan,
    before: Snapshot,
    after: Snapshot,
    frame: Frame,
    climate: Climate,
    targets: Targets,
    verdict: Verdict,
    commands: tuple[Command, ...],
    events: tuple[Event, ...],
    by_hand: Outputs | None = None,
) -> tuple[str, ...]:
    """Names of the invariants (see NAMES) that this scan broke; empty when all hold. by_hand: what was asked for where
    people have overridden something; its drives may then see steps."""
    broken: list[str] = []
    outputs, discrete = after.outputs, after.outputs.discrete
    analog = outputs.analog
    for value in analog:
        if not 0.0 <= value <= 100.0:
            broken.append("output-range")
            break
    heat = discrete[plan.heat_run] or (plan.heat_valve >= 0 and analog[plan.heat_valve] > 0.0)
    for column in plan.heat_stages:
        heat = heat or discrete[column]
    if heat and not (discrete[plan.fan_run] and frame.discrete[plan.airflow]):
        broken.append("heat-without-air")
    fog = True in plan.fog_of(discrete)
    if (heat or fog) and not _readings_serve(plan, frame, climate, heat, fog):
        broken.append("bad-reading-used")
    memory = after.memory
    if memory.since_s or verdict is not HEALTHY:
        _check_blocked(plan, outputs, memory, verdict, heat, fog, broken)
    if memory.taken and gives_back(plan, outputs, memory.taken, after.sequence.state, verdict.trips, heat, fog):
        broken.append("given-back")
    if by_hand is None and analog is not before.outputs.analog and analog != before.outputs.analog:
        _check_slew(plan, before.outputs.analog, analog, verdict.forced, broken)
    wanted = after.actuation.wanted if by_hand is None else by_hand
    if analog is not wanted.analog or plan.driven_of(discrete) != plan.driven_of(wanted.discrete):
        _check_owner(plan, wanted, outputs, verdict.forced, broken)
    was, now = before.sequence, after.sequence
    if now is not was:
        check_sequence(plan, was, now, commands, broken)
    if commands or now.commands is not was.commands:
        if not _all_answered(was, now, commands, events):
            broken.append("command-outcome")
        if len(now.commands.ids) > MEMORY:
            broken.append("queue")
    if after.allocation is not before.allocation and not _bounded(plan, after.allocation):
        broken.append("integrator")
    if not targets.floor_degC <= targets.ceiling_degC:
        broken.append("band")
    known = before.memory
    if memory.age_scans or known.age_scans or known.counter < 0:
        if memory.age_scans > known.age_scans + 1:
            broken.append("reading-order")
    elif (memory.counter - known.counter) % _COUNTER >= _COUNTER // 2:
        broken.append("reading-order")
    if after.alarms is not before.alarms or verdict.trips or False in plan.switches(frame.discrete):
        _check_alarms(plan, after, frame, verdict, events, broken)
    return tuple(broken) if broken else _NONE


def _since(plan: InvariantPlan, since_s: tuple[float, ...], frame: Frame, climate: Climate) -> tuple[float, ...]:
    """For how long each cause has been there, in the order of the plan's delays; empty when none is."""
    values, closed = frame.values, plan.closed_of(frame.discrete)
    causes = (
        climate.hottest_degC > plan.air_degC_max,
        values[plan.supply] > plan.supply_degC_max,
        any(values[column] > plan.product_degC_max for column in plan.products),
        not closed[0], not closed[1], not closed[2], False in closed[3:],
    )
    if True not in causes:
        return ()
    times = since_s or (0.0,) * _CAUSES
    return tuple(time_s + plan.dt_s if cause else 0.0 for cause, time_s in zip(causes, times, strict=True))


def _readings_serve(plan: InvariantPlan, frame: Frame, climate: Climate, heat: bool, fog: bool) -> bool:
    """May heat and fog be on with these readings? One good probe of each kind is the least there must be."""
    if frame.age_scans > plan.age_scans_max:
        return False
    if (heat and not climate.temperature_ok) or (fog and not climate.moisture_ok):
        return False
    qualities = frame.qualities
    if qualities is plan.good:
        return True
    served = tuple(
        [float(quality == 0 or why == HELD) for quality, why in zip(qualities, frame.reasons, strict=True)]
    )
    return (not heat or 1.0 in plan.air(served)) and (not fog or 1.0 in plan.humidity(served))


def _check_blocked(
    plan: InvariantPlan, outputs: Outputs, memory: Memory, verdict: Verdict, heat: bool, fog: bool, broken: list[str]
) -> None:
    """Nothing is on that a cause speaks against, whatever protection made of it; nor what protection has blocked."""
    fan = outputs.discrete[plan.fan_run] or outputs.analog[plan.fan_speed] > 0.0
    frame_heat = outputs.discrete[plan.frame_heat]
    mask = 0
    for time_s, delay_s, blocks in zip(memory.since_s, plan.delay_s, plan.blocks, strict=False):
        if time_s > 0.0 and time_s >= delay_s:
            mask |= blocks
    if (mask & HEAT and heat) or (mask & FOG and fog) or (mask & FAN and fan) or (mask & FRAME and frame_heat):
        broken.append("cause-ignored")
    blocked = verdict.blocked
    if ("heat" in blocked and heat) or ("fog" in blocked and fog) or ("fan" in blocked and fan) or (
        "frame heat" in blocked and frame_heat
    ):
        broken.append("tripped-output-on")


def _check_slew(
    plan: InvariantPlan, before: tuple[float, ...], now: tuple[float, ...], forced: bool, broken: list[str]
) -> None:
    """Moves of one scan. A fan may stop at once and start at its slowest; protection may put an output in its place."""
    for slew in plan.slews:
        was, value = before[slew.column], now[slew.column]
        if -slew.most_pct <= value - was <= slew.most_pct:
            continue
        if slew.start_pct >= 0.0 and (value == 0.0 or (was == 0.0 and value <= slew.start_pct)):
            continue
        if forced and value in slew.targets:
            continue
        broken.append("slew")
        return


def _check_owner(plan: InvariantPlan, wanted: Outputs, outputs: Outputs, forced: bool, broken: list[str]) -> None:
    """Only protection changes what actuation asked for, and it never adds heat or fog."""
    analog, discrete = outputs.analog, outputs.discrete
    if not forced:
        if analog != wanted.analog or plan.driven_of(discrete) != plan.driven_of(wanted.discrete):
            broken.append("owner")
        return
    for column in plan.heaters:
        if discrete[column] and not wanted.discrete[column]:
            broken.append("owner")
            return
    valve = plan.heat_valve
    if valve >= 0 and analog[valve] > wanted.analog[valve]:
        broken.append("owner")


def _check_alarms(
    plan: InvariantPlan, after: Snapshot, frame: Frame, verdict: Verdict, events: tuple[Event, ...], broken: list[str]
) -> None:
    """Every trip has its one alarm and the other way round; a switch in hand is told, and its drive is not used."""
    alarms = after.alarms
    if max(len(alarms.lives), len(alarms.hidden)) > plan.alarms_max or len(alarms.rate.recent) > REMEMBERED_MAX:
        broken.append("queue")
    beyond = [number for number, life in alarms.lives if life.beyond]
    tripped = sorted(plan.trips[tag] for tag in verdict.trips)
    trips = plan.trips.values()
    if sorted(number for number in beyond if number in trips) != tripped:
        broken.append("trip-alarm")
    came = [event.tag for event in events if event.kind == "alarm" and ("what", "comes") in event.data]
    if len(came) != len(set(came)):
        broken.append("alarm-rate")
    contacts = frame.discrete
    if (False in plan.switches(contacts)[:-2] and plan.in_hand not in beyond) or (
        (after.achieved.heat_kW_max > 0.0 and False in plan.heat_contacts(contacts))
        or (after.achieved.fog_kg_per_h_max > 0.0 and False in plan.fog_contacts(contacts))
    ):
        broken.append("hand-unseen")


def _bounded(plan: InvariantPlan, integrals: AllocationState) -> bool:
    return (
        abs(integrals.temperature.integral) <= plan.temperature_integral_max
        and abs(integrals.moisture.integral) <= plan.moisture_integral_max
    )


def _all_answered(
    was: SequenceState, now: SequenceState, commands: tuple[Command, ...], events: tuple[Event, ...]
) -> bool:
    """Every new command is remembered, counted and answered by exactly one event; nothing else is."""
    known, remembered = was.commands, now.commands
    new = {command.id for command in commands} - set(known.ids)
    if remembered.outcomes - known.outcomes != len(new) or not new <= set(remembered.ids):
        return False
    answered = [str(dict(event.data)["id"]) for event in events if event.kind == "command"]
    return len(answered) == len(new) and set(answered) == new
