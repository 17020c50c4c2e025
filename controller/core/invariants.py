"""What must be true after every scan, in tests and in production. A broken one is a fault of ours, never of the plant.

The checks share no arithmetic with what they check: they look at outputs, states and readings only.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Protocol

from annotated_types import Gt, Le

from controller.core.actuators import ActuationConfig
from controller.core.allocation import AllocationState
from controller.core.climate import Climate
from controller.core.frames import Command, Frame, Outputs
from controller.core.phases import SequenceState
from controller.core.points import Point, of_kind
from controller.core.procedure import AT_REST, EDGES
from controller.core.protection import HEALTHY, ProtectionPlan, Verdict
from controller.core.recipe import ChamberLimits
from controller.core.setpoints import Targets

NAMES: dict[str, str] = {
    "output-range": "an output is not a number or outside its range",
    "heat-without-air": "heat is on without proven air flow",
    "tripped-output-on": "an output is on that a protection blocks in this scan",
    "slew": "an output moved faster than its drive may",
    "bad-reading-used": "an output regulates on a reading that is not good",
    "procedure-edge": "the sequence changed state in a way the table does not have",
    "phase-fell": "the phase went back, or changed while the clock stands still",
    "clock": "a clock went back, or faster than the scan",
    "ramp-rate": "a setpoint moved faster than the chamber allows",
    "band": "the floor asked for lies above the ceiling",
    "integrator": "an integral is not a number or beyond its bound",
    "command-outcome": "a command has no outcome, or more than one",
}
_TINY = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class InvariantsConfig:
    """[invariants]: bounds of the two integrals, kW and the unit of the moisture loop's output."""

    temperature_integral_max: Annotated[float, Gt(0), Le(1e6)] = 1000.0
    moisture_integral_max: Annotated[float, Gt(0), Le(1e6)] = 1000.0


class Before(Protocol):
    """What is looked at of the state before the scan."""

    @property
    def outputs(self) -> Outputs:
        """What was written last."""
        ...

    @property
    def sequence(self) -> SequenceState:
        """The sequence before."""
        ...

    @property
    def allocation(self) -> AllocationState:
        """The integrals before."""
        ...


@dataclass(frozen=True, slots=True)
class InvariantPlan:
    """Columns and bounds, per scan."""

    airflow: int
    fan_speed: int
    fan_run: int
    heat_valve: int
    heat_run: int
    fog_valves: tuple[int, ...]
    vent: int
    slew_pct: tuple[tuple[int, float], ...]  # column of an analog output, largest move in one scan
    slew_pct_min: float
    floor_K_max: float
    age_scans_max: int
    temperature_integral_max: float
    moisture_integral_max: float
    dt_s: float


def bind(
    config: InvariantsConfig, points: tuple[Point, ...], protection: ProtectionPlan, actuators: ActuationConfig,
    limits: ChamberLimits, dt_s: float,
) -> InvariantPlan:
    """Bounds of this chamber. The valve may open as fast as its stroke, or as protection lets it after a block."""
    valve_pct_per_s = max(100.0 / actuators.heat.stroke_s, protection.heat_rise_pct_per_s)
    slew = {
        protection.fan_speed: actuators.fan.slew_pct_per_s * dt_s,
        protection.vent: 100.0 / actuators.vent.stroke_s * dt_s,
    }
    if protection.heat_valve >= 0:
        slew[protection.heat_valve] = valve_pct_per_s * dt_s
    count = len(of_kind(points, "AO"))
    return InvariantPlan(
        airflow=protection.airflow, fan_speed=protection.fan_speed, fan_run=protection.fan_run,
        heat_valve=protection.heat_valve, heat_run=protection.heat_run, fog_valves=protection.fog_valves,
        vent=protection.vent,
        slew_pct=tuple((column, pct + _TINY) for column, pct in slew.items() if column < count),
        slew_pct_min=min(slew.values()) + _TINY,
        floor_K_max=max(limits.ramp_K_per_h_max, limits.cooldown_K_per_h_max) / 3600.0 * dt_s + _TINY,
        age_scans_max=protection.link_age_scans_max,
        temperature_integral_max=config.temperature_integral_max,
        moisture_integral_max=config.moisture_integral_max, dt_s=dt_s,
    )


def check(
    plan: InvariantPlan,
    before: Before,
    outputs: Outputs,
    frame: Frame,
    climate: Climate,
    sequence: SequenceState,
    targets: Targets,
    verdict: Verdict,
    commands: tuple[Command, ...],
) -> tuple[str, ...]:
    """Names of the invariants (see NAMES) that this scan broke; empty when all hold."""
    broken: list[str] = []
    analog, discrete = outputs.analog, outputs.discrete
    for value in analog:
        if not 0.0 <= value <= 100.0:
            broken.append("output-range")
            break
    heat = discrete[plan.heat_run] or (plan.heat_valve >= 0 and analog[plan.heat_valve] > 0.0)
    if heat and not (discrete[plan.fan_run] and frame.discrete[plan.airflow]):
        broken.append("heat-without-air")
    fog = False
    for column in plan.fog_valves:
        fog = fog or discrete[column]
    if frame.age_scans > plan.age_scans_max:
        if heat or fog:
            broken.append("bad-reading-used")
    elif (heat and not climate.temperature_ok) or (fog and not climate.moisture_ok):
        broken.append("bad-reading-used")
    if verdict is not HEALTHY:
        _check_blocked(plan, outputs, verdict, heat, fog, broken)
    if analog != before.outputs.analog and not verdict.forced:
        _check_slew(plan, before.outputs.analog, analog, broken)
    was = before.sequence
    if sequence is not was:
        _check_sequence(plan, was, sequence, commands, broken)
    elif commands:
        broken.append("command-outcome")
    integrals = before.allocation
    if not (
        -plan.temperature_integral_max <= integrals.temperature.integral <= plan.temperature_integral_max
        and -plan.moisture_integral_max <= integrals.moisture.integral <= plan.moisture_integral_max
    ):
        broken.append("integrator")
    if not targets.floor_degC <= targets.ceiling_degC:
        broken.append("band")
    return tuple(broken)


def _check_blocked(
    plan: InvariantPlan, outputs: Outputs, verdict: Verdict, heat: bool, fog: bool, broken: list[str]
) -> None:
    blocked = verdict.blocked
    fan = outputs.discrete[plan.fan_run] or outputs.analog[plan.fan_speed] > 0.0
    if ("heat" in blocked and heat) or ("fog" in blocked and fog) or ("fan" in blocked and fan):
        broken.append("tripped-output-on")


def _check_slew(plan: InvariantPlan, before: tuple[float, ...], now: tuple[float, ...], broken: list[str]) -> None:
    """Moves of one scan. A drive may stop at once, start at its slowest speed, and leave where protection put it."""
    for column, most in plan.slew_pct:
        move = now[column] - before[column]
        if -most <= move <= most:
            continue
        if column == plan.fan_speed and (now[column] == 0.0 or before[column] == 0.0):
            continue
        broken.append("slew")
        return


def _check_sequence(
    plan: InvariantPlan, was: SequenceState, now: SequenceState, commands: tuple[Command, ...], broken: list[str]
) -> None:
    """Edges, phase, clocks, setpoint and outcomes of one scan of the sequence."""
    trail = now.trail
    if trail or now.state != was.state:
        state = was.state
        for following in trail:
            if (state, following) not in EDGES:
                broken.append("procedure-edge")
                break
            state = following
        else:
            if state != now.state:
                broken.append("procedure-edge")
    anew = bool(trail) and (was.state in AT_REST or now.state == "idle")
    same = now.phase == was.phase
    if not anew:
        if now.phase < was.phase or not (same or was.state == "running"):
            broken.append("phase-fell")
        dt = plan.dt_s + _TINY
        standing = 0.0 if was.state != "running" else dt
        if not (
            0.0 <= now.cycle_s - was.cycle_s <= standing
            and 0.0 <= now.held_s - was.held_s <= dt
            and (not same or 0.0 <= now.phase_s - was.phase_s <= standing)
        ):
            broken.append("clock")
        if same and now.state == was.state and not abs(now.floor_degC - was.floor_degC) <= plan.floor_K_max:
            broken.append("ramp-rate")
    if commands:
        known, remembered = was.commands, now.commands
        new = {command.id for command in commands} - set(known.ids)
        if remembered.outcomes - known.outcomes != len(new) or not new <= set(remembered.ids):
            broken.append("command-outcome")
    elif now.commands is not was.commands and now.commands != was.commands:
        broken.append("command-outcome")
