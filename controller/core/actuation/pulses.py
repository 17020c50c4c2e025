"""Time-proportioned on/off output: minimum on and off times, and a remainder that is carried, so the mean is exact.

What is owed (seconds of full flow) grows with the duty and shrinks while the output is on. A pulse is planned once a
cycle from what is owed and what the duty will add; what a pulse cannot do, because it would be too short or leave
too short a pause, stays owed.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.core.quick import maker


@dataclass(frozen=True, slots=True)
class PulsePlan:
    """cycle_s: one pulse at most in so long.  on_s_min, off_s_min: shortest pulse and pause."""

    cycle_s: float
    on_s_min: float
    off_s_min: float


@dataclass(frozen=True, slots=True)
class PulseState:
    """on: the output now.  since_s: how long it has been so (stops counting at one cycle).  cycle_s: time in the
    cycle (stops at its end while nothing is asked).  left_s: what is left of the planned pulse.  owed_s: seconds of
    full flow asked for and not yet given.  strokes: pulses so far."""

    on: bool = False
    since_s: float = 0.0
    cycle_s: float = 0.0
    left_s: float = 0.0
    owed_s: float = 0.0
    strokes: int = 0


_state = maker(PulseState)


def at_rest(plan: PulsePlan) -> PulseState:
    """Off, long enough for a pulse to start at once."""
    return PulseState(since_s=plan.cycle_s, cycle_s=plan.cycle_s)


def step(plan: PulsePlan, state: PulseState, duty: float, dt_s: float) -> PulseState:
    """State after this scan's decision; `on` holds for the coming dt_s. duty: share of the time, 0..1."""
    cycle_s = plan.cycle_s
    if duty <= 0.0 and not state.on and state.since_s >= cycle_s and state.cycle_s >= cycle_s:
        return state  # at rest
    duty = 0.0 if duty <= 0.0 else 1.0 if duty > 1.0 else duty
    on, since_s, position_s = state.on, state.since_s + dt_s, state.cycle_s + dt_s
    if since_s > cycle_s:
        since_s = cycle_s
    left_s, owed_s, strokes = state.left_s, state.owed_s, state.strokes
    if position_s >= cycle_s:
        if duty > 0.0:
            position_s = 0.0
            left_s = _pulse_s(plan, owed_s + duty * cycle_s, dt_s)
        else:
            position_s = cycle_s
    if on:
        if since_s >= plan.on_s_min and (left_s <= 0.0 or duty == 0.0):
            on, since_s, left_s = False, 0.0, 0.0
    elif left_s > 0.0 and since_s >= plan.off_s_min:
        on, since_s, strokes = True, 0.0, strokes + 1  # a whole pulse: it shortens only while it is on
    owed_s += duty * dt_s
    if on:
        owed_s -= dt_s
        left_s -= dt_s
    if owed_s > cycle_s:
        owed_s = cycle_s
    elif owed_s < -cycle_s:
        owed_s = -cycle_s
    return _state(on, since_s, position_s, left_s, owed_s, strokes)


def cut(plan: PulsePlan, state: PulseState, dt_s: float) -> PulseState:
    """State after an interlock: off now, whatever the minimum on time, and nothing owed. The pause still counts."""
    if state.on:
        return PulseState(strokes=state.strokes, cycle_s=plan.cycle_s)
    if state.since_s >= plan.cycle_s and state.owed_s == 0.0:
        return state
    return PulseState(
        since_s=min(state.since_s + dt_s, plan.cycle_s), cycle_s=plan.cycle_s, strokes=state.strokes
    )


def _pulse_s(plan: PulsePlan, wanted_s: float, dt_s: float) -> float:
    """The pulse of one cycle, in whole scans: nothing when too short, the whole cycle when the pause would be."""
    pulse_s = int(wanted_s / dt_s + 0.5) * dt_s
    if pulse_s < plan.on_s_min or pulse_s <= 0.0:
        return 0.0
    return plan.cycle_s if pulse_s > plan.cycle_s - plan.off_s_min else pulse_s
