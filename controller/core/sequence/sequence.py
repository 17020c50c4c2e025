"""Carries out a recipe: procedural states, phases, moving setpoints, and clocks that wait for the chamber.

What the states mean here. paused and held: the recipe's clock stands still, temperature and humidity stay controlled
at the last setpoint (unless a protection blocks an output), so that the product neither cools nor dries.
restarting: the setpoint comes back from the measured mean to where it stood, then the clock goes on; the phase never
begins anew. stopping: heat and fog off, fan and vent on for `stop_s`. aborting: everything off at once; the fan runs
on after heat because protection sees to that.
"""

from __future__ import annotations

from dataclasses import replace
from math import isfinite

from controller.core.climate.climate import Climate
from controller.core.frames import Command, Event
from controller.core.loops import constraints
from controller.core.orders.commands import argument, fresh, objection, outcome
from controller.core.orders.procedure import CONTROLLED, DONE, ON_ABORT, ON_HOLD, after_command, refusal
from controller.core.orders.verbs import ACKNOWLEDGE, FOR_ALARMS, NEXT_PHASE, PASSED_ON, RESET_TRIPS
from controller.core.product.product import Product
from controller.core.sequence import goingon
from controller.core.sequence.ends import over
from controller.core.sequence.phases import (
    SequenceConfig,
    SequencePlan,
    SequenceState,
    airing_until_s,
    begin,
    bind,
    in_band_now,
    initial,
    make_state,
    rests,
    stopping_targets,
    targets_at,
)
from controller.core.setpoints import Targets

__all__ = ["SequenceConfig", "SequencePlan", "SequenceState", "Targets", "advance", "bind", "initial"]

NO_EVENTS: tuple[Event, ...] = ()
_RATE_GONE_K_PER_H = 1e-3  # a smoothed rate below this is nothing


def advance(
    plan: SequencePlan,
    state: SequenceState,
    commands: tuple[Command, ...],
    climate: Climate,
    product: Product,
    effect: str,
    dt_s: float,
    fighting: bool = False,
    locked: str = "",
    trim_K: float = 0.0,
) -> tuple[SequenceState, Targets, tuple[Event, ...]]:
    """One scan of the sequence: commands, then protections, then the recipe.

    effect: what protection asked for in the scan before: "none", "door" (hold, where the phase says so), "hold" or
    "abort". fighting: heat has worked against the vent for too long; a ramp waits. Every new command is answered with
    exactly one event: here, save for "reset-trips" (see `SequenceState.reset`), FOR_ALARMS and PASSED_ON, which others
    answer. locked: whose lock keeps the outputs off, "" for nobody's. trim_K: by how much people have moved the band.
    """
    passing = (
        state.trail or state.reset or state.acknowledge or state.for_alarms or state.passed_on or state.back_s >= 0.0
    )
    if commands or effect != "none" or passing:
        state, events = _decide(plan, state, commands, climate, effect, dt_s, locked)
        if state.trail:
            return state, _targets(plan, state), events
    elif state.state == "running":
        return _run(plan, state, climate, product, dt_s, fighting, trim_K)
    else:
        events = NO_EVENTS
    name = state.state
    if name == "running":
        state, targets, more = _run(plan, state, climate, product, dt_s, fighting, trim_K)
    elif name in CONTROLLED or name in DONE:
        state, targets, more = _wait(plan, state, dt_s)
    else:
        return state, plan.rest, events
    return state, targets, (*events, *more) if events else more


def _run(
    plan: SequencePlan, state: SequenceState, climate: Climate, product: Product, dt_s: float, fighting: bool,
    trim_K: float,
) -> tuple[SequenceState, Targets, tuple[Event, ...]]:
    """One scan of a running phase: wait or go on, move the setpoint, end."""
    phase = plan.phases[state.phase]
    floor, ceiling, moves, end = state.floor_degC, state.ceiling_degC, phase.moves, phase.end
    phase_s, waiting_s, rate, rate_K_per_h = state.phase_s, state.waiting_s, 0.0, state.rate_K_per_h
    cycle_s = state.cycle_s + dt_s
    in_band = end.in_band and (
        climate.coldest_degC >= phase.band_floor_degC + trim_K if moves > 0 else in_band_now(phase, ceiling, climate)
    )
    waiting = phase.waits and not climate.temperature_degC > floor - phase.holdback_K + trim_K
    if moves > 0 and not waiting:
        waiting = (
            (fighting and phase.targets.sags)
            or (end.in_band and not in_band and floor >= phase.floor_degC)
            or (phase.ramp_rh_floor_pct > 0.0 and not constraints.ramp_permitted(climate, phase.ramp_rh_floor_pct))
        )
    if waiting:
        waiting_s += dt_s
    else:
        phase_s += dt_s
        if moves > 0 and floor < phase.floor_degC:
            floor += phase.rate_K_per_s * dt_s
            if floor > phase.floor_degC:
                floor = phase.floor_degC
            rate = phase.rate_K_per_h
        elif moves < 0 and ceiling > phase.ceiling_degC:
            ceiling = max(ceiling - phase.rate_K_per_s * dt_s, phase.ceiling_degC)
            floor, rate = ceiling if phase.single else floor, -phase.rate_K_per_h
        if phase.single and moves > 0:
            ceiling = floor
    if rate or rate_K_per_h:
        rate_K_per_h += (rate - rate_K_per_h) * dt_s / (plan.rate_filter_s + dt_s)
        if rate == 0.0 and abs(rate_K_per_h) < _RATE_GONE_K_PER_H:
            rate_K_per_h = 0.0
    why = over(end, phase_s, phase_s + waiting_s, cycle_s, product, in_band)
    airing_s = state.airing_s
    if phase.fan_off_s:
        airing_s = airing_until_s(phase, airing_s, phase_s + waiting_s, climate)
    after = make_state("running", state.phase, phase_s, cycle_s, state.held_s, 0.0, floor, ceiling, rate_K_per_h,
                       waiting_s, waiting_s >= phase.wait_alarm_s, state.hold_start_s, None, state.commands,
                       (), state.reset, state.acknowledge, state.for_alarms, state.passed_on, airing_s,
                       state.back_s)
    if why:
        return _next_phase(plan, after, climate, why)
    if phase.fan_off_s and rests(phase, airing_s, phase_s + waiting_s):
        return after, phase.still, NO_EVENTS
    return after, targets_at(phase, floor, ceiling, rate_K_per_h), NO_EVENTS


def _next_phase(
    plan: SequencePlan, state: SequenceState, climate: Climate, why: str
) -> tuple[SequenceState, Targets, tuple[Event, ...]]:
    """The phase is over: begin the next one, or complete the cycle."""
    ended = plan.phases[state.phase]
    over_event = Event("phase", "", f"{ended.name}: over, {why}", (
        ("phase", state.phase), ("kind", ended.kind), ("what", "end"), ("why", why),
        ("phase_s", state.phase_s), ("waiting_s", state.waiting_s),
    ))
    number = state.phase + 1
    if number == len(plan.phases):
        done = replace(state, state="complete", trail=(*state.trail, "complete"), rate_K_per_h=0.0)
        return done, plan.rest, (over_event, _moved("running", "complete", "the last phase is over"))
    begun, event = _begin(plan, state, number, climate)
    return begun, targets_at(plan.phases[number], begun.floor_degC, begun.ceiling_degC, 0.0), (over_event, event)


def _begin(
    plan: SequencePlan, state: SequenceState, number: int, climate: Climate
) -> tuple[SequenceState, Event]:
    """Enter a phase with its clocks at zero; its setpoint starts from the measured mean when it moves."""
    phase = plan.phases[number]
    floor, ceiling = begin(phase, climate.temperature_degC, state.floor_degC)
    hold_start_s = state.hold_start_s
    if hold_start_s is None and phase.kind == "hold":
        hold_start_s = state.cycle_s
    begun = replace(state, phase=number, phase_s=0.0, waiting_s=0.0, waiting_long=False, floor_degC=floor,
                    ceiling_degC=ceiling, rate_K_per_h=0.0, hold_start_s=hold_start_s, airing_s=0.0)
    band = f"{floor:.1f} degC" if floor == ceiling else f"{floor:.1f} to {ceiling:.1f} degC"
    event = Event("phase", "", f"{phase.name}: begins at {band}", (
        ("phase", number), ("kind", phase.kind), ("what", "begin"), ("floor_degC", floor), ("ceiling_degC", ceiling),
        ("cycle_s", state.cycle_s),
    ))
    return begun, event


def _wait(
    plan: SequencePlan, state: SequenceState, dt_s: float
) -> tuple[SequenceState, Targets, tuple[Event, ...]]:
    """One scan with the recipe's clock standing still. States that only pass on do so here, after one scan or when
    their bounded time is over."""
    name, after = state.state, state
    if name in ("held", "paused"):
        after = make_state(name, state.phase, state.phase_s, state.cycle_s, state.held_s + dt_s, 0.0, state.floor_degC,
                           state.ceiling_degC, 0.0, state.waiting_s, state.waiting_long, state.hold_start_s,
                           state.resume_floor_degC, state.commands, (), state.reset,
                           state.acknowledge, state.for_alarms, state.passed_on, state.airing_s, state.back_s)
        return after, _targets(plan, after), NO_EVENTS
    state_s = state.state_s + dt_s
    why = "done"
    if name == "stopping":
        after = replace(state, state_s=state_s)
        finished = state_s >= plan.stop_s
    elif name == "restarting":
        after, finished, why = _come_back(plan, state, state_s, dt_s)
    else:  # pausing, holding, aborting: one scan each
        after = replace(state, rate_K_per_h=0.0)
        finished = True
    if name in CONTROLLED:
        after = replace(after, held_s=after.held_s + dt_s)
    if not finished:
        return after, _targets(plan, after), NO_EVENTS
    following = DONE[name]
    after = replace(after, state=following, state_s=0.0, trail=(following,))
    return after, _targets(plan, after), (_moved(name, following, why),)


def _come_back(
    plan: SequencePlan, state: SequenceState, state_s: float, dt_s: float
) -> tuple[SequenceState, bool, str]:
    """Restarting: move the floor up to where it stood. Finished when it is there, or when it has taken too long."""
    phase = plan.phases[state.phase]
    goal = state.floor_degC if state.resume_floor_degC is None else state.resume_floor_degC
    step = max(phase.rate_K_per_s if phase.moves > 0 else 0.0, plan.restart_K_per_s) * dt_s
    floor = min(state.floor_degC + step, goal)
    late = state_s >= plan.restart_s_max
    finished = floor >= goal or late
    why = "the restart took its longest time" if late and floor < goal else "the setpoint is back where it stood"
    if finished:
        floor = goal
    ceiling = floor if state.floor_degC == state.ceiling_degC else state.ceiling_degC
    return replace(state, floor_degC=floor, ceiling_degC=ceiling, state_s=state_s,
                   resume_floor_degC=None if finished else goal), finished, why


def _decide(
    plan: SequencePlan, state: SequenceState, commands: tuple[Command, ...], climate: Climate, effect: str, dt_s: float,
    locked: str,
) -> tuple[SequenceState, tuple[Event, ...]]:
    """Apply commands in order, then what protection asks for, then what the air found after an outage does. `trail` of
    the result names every state entered."""
    if state.trail or state.reset or state.acknowledge or state.for_alarms or state.passed_on:
        state = replace(state, trail=(), reset=(), acknowledge=False, for_alarms=(), passed_on=())
    events: list[Event] = []
    if commands:
        memory, taken = fresh(state.commands, commands)
        state = replace(state, commands=memory)
        for place, command in enumerate(taken):
            reason = objection(command, state.state, place, plan.stale_after_s, locked)
            if reason:
                events.append(outcome(command, reason))
            else:
                state = _obey(plan, state, command, climate, effect, events)
    name = state.state
    table = ON_ABORT if effect == "abort" else ON_HOLD
    if name in table and goingon.stops(plan, state, effect):
        state = _enter(state, table[name])
        events.append(_moved(name, state.state, f"protection asks for {effect}"))
    if state.back_s >= 0.0 and (name := state.state) in CONTROLLED:
        back_s, why = goingon.judge_air(plan.phases[state.phase], state.back_s, climate, effect, dt_s)
        state = replace(state, back_s=back_s)
        if why:
            state = _enter(state, ON_ABORT[name])
            events.append(_moved(name, state.state, why))
    return state, tuple(events)


def _obey(
    plan: SequencePlan, state: SequenceState, command: Command, climate: Climate, effect: str, events: list[Event]
) -> SequenceState:
    """Carry out one command that nothing speaks against, or refuse it by the table; its outcome goes to `events`."""
    verb, name = command.verb, state.state
    if verb == RESET_TRIPS:
        return replace(state, reset=(*state.reset, (command.id, command.who)))
    if verb == ACKNOWLEDGE and "tag" not in dict(command.args):
        events.append(outcome(command))
        return replace(state, acknowledge=True)
    if verb in FOR_ALARMS:
        return replace(state, for_alarms=(*state.for_alarms, command))
    if verb in PASSED_ON:
        return replace(state, passed_on=(*state.passed_on, command))
    if verb == NEXT_PHASE:
        return _end_phase(plan, state, command, climate, events)
    following = after_command(name, verb)
    reason = refusal(name, verb) if following is None else goingon.objection(plan, state, command, climate, effect)
    events.append(outcome(command, reason))
    if following is None or reason:
        return state
    events.append(_moved(name, following, f"{verb} by {command.who}"))
    state = _enter(state, following)
    if verb == "start":
        clean = replace(initial(plan), state="running", commands=state.commands, trail=state.trail,
                        reset=state.reset, acknowledge=state.acknowledge, for_alarms=state.for_alarms,
                        passed_on=(*state.passed_on, command))
        state, event = _begin(plan, clean, 0, climate)
        events.append(event)
    elif verb == "restart":
        state = _from_measured(state, climate.temperature_degC)
    elif verb == "reset":
        state = replace(initial(plan), commands=state.commands, trail=state.trail, reset=state.reset,
                        acknowledge=state.acknowledge, for_alarms=state.for_alarms, passed_on=state.passed_on)
    return state


def _end_phase(
    plan: SequencePlan, state: SequenceState, command: Command, climate: Climate, events: list[Event]
) -> SequenceState:
    """A person ends the phase: only where the recipe leaves that to people, or only they see it; while it runs."""
    reason = goingon.keeps_phase(plan, state, argument(command, "phase"))
    events.append(outcome(command, reason))
    if reason:
        return state
    after, _, told = _next_phase(plan, state, climate, f"ended by {command.who}")
    events.extend(told)
    return after


def _from_measured(state: SequenceState, mean_degC: float) -> SequenceState:
    """Restart from where the chamber is: the floor goes down to the mean and remembers where it stood."""
    goal = state.floor_degC if state.resume_floor_degC is None else state.resume_floor_degC
    floor = min(goal, mean_degC) if isfinite(mean_degC) else goal
    ceiling = floor if state.floor_degC == state.ceiling_degC else state.ceiling_degC
    return replace(state, floor_degC=floor, ceiling_degC=ceiling, resume_floor_degC=goal)


def _enter(state: SequenceState, following: str) -> SequenceState:
    back_s = state.back_s if following in CONTROLLED else goingon.NOT_LOOKED_FOR
    return replace(state, state=following, state_s=0.0, rate_K_per_h=0.0, trail=(*state.trail, following),
                   back_s=back_s)


def _targets(plan: SequencePlan, state: SequenceState) -> Targets:
    """What is asked in a state that does not run the recipe."""
    if state.state in CONTROLLED:
        return targets_at(plan.phases[state.phase], state.floor_degC, state.ceiling_degC, 0.0)
    return stopping_targets(plan, state) if state.state == "stopping" else plan.rest


def _moved(before: str, after: str, why: str) -> Event:
    return Event("state", "", f"{before} -> {after}: {why}", (("from", before), ("to", after), ("why", why)))
