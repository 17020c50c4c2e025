"""What the register does to a scan: to inputs, setpoints, demands and outputs. Called only when it is not
idle."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from controller.core.climate.climate import Climate
from controller.core.frames import Frame, Outputs, Quality
from controller.core.hand.points import LOOPS
from controller.core.hand.register import ByHand, ByHandPlan, settled
from controller.core.loops.allocation import AllocationState, Demands
from controller.core.loops.capacity import outdoors
from controller.core.orders.verbs import BYPASS, FORCE, MANUAL, SIMULATE
from controller.core.sequence.recipe import ChamberLimits
from controller.core.setpoints import Targets
from controller.core.signals import signals
from controller.core.signals.signals import SignalPlan

FORCED, SIMULATED = "forced by hand", "simulated by hand"
_GOOD, _UNCERTAIN = int(Quality.GOOD), int(Quality.UNCERTAIN)


class Hands(NamedTuple):
    """What protection has to know. bypassed: numbers of rows. frame, air: as measured, before anything was put in its
    place. locked: somebody's lock hangs."""

    bypassed: tuple[int, ...]
    frame: Frame
    air: Climate
    locked: bool


def inputs(plan: ByHandPlan, state: ByHand, channels: SignalPlan, frame: Frame) -> tuple[Frame, Frame]:
    """(what control works with, what is shown and recorded): a value put there by hand is good for the one, uncertain
    for the other."""
    points = plan.points
    values, qualities, reasons = list(frame.values), list(frame.qualities), list(frame.reasons)
    contacts = list(frame.discrete)
    shown = qualities[:]
    touched = False
    for entry in state.entries:
        if entry.kind == BYPASS:
            for column in points.rows[entry.tag][1]:
                contacts[column], touched = True, True
        elif entry.tag in points.contacts and entry.kind in (FORCE, SIMULATE):
            contacts[points.contacts[entry.tag].column], touched = entry.value != 0.0, True
        elif entry.tag in points.readings and entry.kind in (FORCE, SIMULATE):
            column, touched = points.readings[entry.tag].column, True
            value, quality, reason = entry.value, _GOOD, FORCED
            if entry.kind == SIMULATE:
                value, quality, why = signals.judged(channels, column, entry.value)
                reason = f"{SIMULATED}: {why}" if why else SIMULATED
            values[column], qualities[column], reasons[column] = value, quality, reason
            shown[column] = max(quality, _UNCERTAIN)
    if not touched:
        return frame, frame
    marks, discrete = tuple(reasons), tuple(contacts)
    return (
        Frame(tuple(values), tuple(qualities), marks, discrete, frame.age_scans),
        Frame(tuple(values), tuple(shown), marks, discrete, frame.age_scans),
    )


def bypassed(plan: ByHandPlan, state: ByHand) -> tuple[int, ...]:
    """Numbers of the rows that are bypassed."""
    return tuple(plan.points.rows[entry.tag][0] for entry in state.entries if entry.kind == BYPASS)


def targets(state: ByHand, limits: ChamberLimits, asked: Targets) -> Targets:
    """Setpoints with their trims, never beyond what the chamber allows."""
    K, rh_pct = state.trims
    if K == 0.0 and rh_pct == 0.0:
        return asked
    least, most = limits.temperature_degC_min, limits.temperature_degC_max
    fog = asked.rh_fog_below_pct
    return replace(
        asked,
        floor_degC=min(max(asked.floor_degC + K, min(least, asked.floor_degC)), max(most, asked.floor_degC)),
        ceiling_degC=min(max(asked.ceiling_degC + K, min(least, asked.ceiling_degC)), max(most, asked.ceiling_degC)),
        rh_fog_below_pct=min(fog + rh_pct, max(limits.rh_pct_max, fog)) if fog > 0.0 else fog,
    )


def demands(
    plan: ByHandPlan, state: ByHand, before: AllocationState, after: AllocationState, asked: Demands,
    heat_kW_max: float, air: Climate, dt_s: float,
) -> tuple[ByHand, AllocationState, Demands]:
    """Demands with loops in manual where people have put them, and with those that come back on their way.

    A loop in manual learns nothing: its integral stays as it was. heat_kW_max: what the product may still be given.
    """
    manual = {entry.tag: entry.value for entry in state.entries if entry.kind == MANUAL}
    if not manual and not state.back:
        return state, after, asked
    now = dict(zip(LOOPS, (asked.heat_kW, asked.fog_kg_per_h, asked.vent_kg_per_s, asked.fan_pct), strict=True))
    back: list[tuple[str, float]] = []
    for loop, value in state.back:
        step = plan.points.loops[loop].hi * dt_s / plan.config.back_s
        value = min(value + step, now[loop]) if value < now[loop] else max(value - step, now[loop])
        if value != now[loop]:
            back.append((loop, value))
        now[loop] = value
    now |= manual
    still = {*manual, *[loop for loop, _value in back]}
    heat = min(now["heat"], heat_kW_max) if now["fan"] > 0.0 else 0.0
    cooler = outdoors(air, 1000.0 * air.humidity_ratio)[1] if now["vent"] > 0.0 else 0.0
    fighting = max(0.0, min(heat, now["vent"] * cooler)) if heat > 0.0 else 0.0
    why = (*asked.why, f"by hand: {', '.join(sorted(still))}") if still else asked.why
    learnt = AllocationState(
        before.temperature if "heat" in still else after.temperature,
        before.moisture if still & {"fog", "vent"} else after.moisture,
    )
    after = after if learnt == after else learnt
    if tuple(back) != state.back:
        state = settled(replace(state, back=tuple(back)))
    return state, after, Demands(heat, now["vent"], now["fog"], now["fan"], fighting, why)


def outputs(plan: ByHandPlan, state: ByHand, wanted: Outputs) -> Outputs:
    """The outputs with those that are forced, before protection sees them."""
    analog, discrete = list(wanted.analog), list(wanted.discrete)
    for entry in state.entries:
        if entry.kind == FORCE and entry.tag in plan.points.analog:
            analog[plan.points.analog[entry.tag].column] = entry.value
        elif entry.kind == FORCE and entry.tag in plan.points.discrete:
            discrete[plan.points.discrete[entry.tag].column] = entry.value != 0.0
    now = Outputs(tuple(analog), tuple(discrete))
    return wanted if now == wanted else now


def lamps(plan: ByHandPlan, state: ByHand, wanted: Outputs) -> Outputs:
    """The outputs with lamps, horn and healthy relay as they are forced: after the alarms, which drive them."""
    discrete = list(wanted.discrete)
    for entry in state.entries:
        if entry.kind == FORCE and entry.tag in plan.points.lamps:
            discrete[plan.points.lamps[entry.tag].column] = entry.value != 0.0
    now = tuple(discrete)
    return wanted if now == wanted.discrete else Outputs(wanted.analog, now)

