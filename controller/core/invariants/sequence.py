"""Invariants of the sequence: edges, phase, clocks and setpoint of one scan."""

from __future__ import annotations

from math import inf

from controller.core.frames import Command
from controller.core.invariants.plan import TINY, InvariantPlan
from controller.core.orders.procedure import AT_REST, DONE, EDGES, ON_ABORT, ON_HOLD, TABLE
from controller.core.orders.verbs import NEXT_PHASE
from controller.core.sequence.phases import SequenceState

# edge -> orders that lead along it, where nothing else does
ORDERED: dict[tuple[str, str], frozenset[str]] = {
    (state, after): frozenset(verb for verb, there in row.items() if there == after)
    for state, row in TABLE.items()
    for after in row.values()
    if after not in (DONE.get(state), ON_HOLD.get(state), ON_ABORT.get(state))
}
_PHASE_TIME, _CYCLE_TIME = 0, 1  # of the conditions that a phase may require


def check_sequence(
    plan: InvariantPlan, was: SequenceState, now: SequenceState, commands: tuple[Command, ...], broken: list[str]
) -> None:
    """Append the names of what one scan of the sequence broke."""
    trail, state, same = now.trail, was.state, now.phase == was.phase
    if trail or now.state != state:
        if not _edges_exist(was, now):
            broken.append("procedure-edge")
        elif not _edges_ordered(was, now, commands):
            broken.append("unordered")
        if trail and (state in AT_REST or now.state == "idle"):
            return
    if not same:
        orders = sum(command.verb == NEXT_PHASE for command in commands)
        if not (state == "running" and was.phase < now.phase <= was.phase + 1 + orders):
            broken.append("phase-fell")
        elif not orders and _too_short(plan, was):
            broken.append("phase-short")
    dt = plan.dt_s + TINY
    standing = dt if state == "running" else 0.0
    if not (
        0.0 <= now.cycle_s - was.cycle_s <= standing
        and (now.held_s == was.held_s or 0.0 <= now.held_s - was.held_s <= dt)
        and (not same or 0.0 <= now.phase_s - was.phase_s <= standing)
    ):
        broken.append("clock")
    moved = now.floor_degC != was.floor_degC or now.ceiling_degC != was.ceiling_degC
    if moved and same and now.state == state and not _gently(plan.floor_K_max, was, now):
        broken.append("ramp-rate")


def _gently(most_K: float, was: SequenceState, now: SequenceState) -> bool:
    return (
        -most_K <= now.floor_degC - was.floor_degC <= most_K
        and -most_K <= now.ceiling_degC - was.ceiling_degC <= most_K
    )


def _edges_exist(was: SequenceState, now: SequenceState) -> bool:
    state = was.state
    for following in now.trail:
        if (state, following) not in EDGES:
            return False
        state = following
    return state == now.state


def _edges_ordered(was: SequenceState, now: SequenceState, commands: tuple[Command, ...]) -> bool:
    """Nothing starts or goes on by itself: what only an order leads to, an order of this scan has led to."""
    state, verbs = was.state, {command.verb for command in commands}
    for following in now.trail:
        if (state, following) in ORDERED and not verbs & ORDERED[state, following]:
            return False
        state = following
    return True


def _too_short(plan: InvariantPlan, was: SequenceState) -> bool:
    """Did a phase that ended by itself in this scan lack time that its recipe asks for?"""
    end = plan.phases[was.phase].end
    time_s, waiting_s = was.phase_s + plan.dt_s + TINY, was.waiting_s + plan.dt_s + TINY
    if time_s + waiting_s >= end.at_most_s:
        return False
    only_time = end.time_s < inf and end.cycle_s == inf and not (end.in_band or end.by_product)
    return (
        time_s < end.at_least_s
        or ((only_time or _PHASE_TIME in end.required) and time_s < end.time_s)
        or (_CYCLE_TIME in end.required and was.cycle_s + plan.dt_s + TINY < end.cycle_s)
    )
