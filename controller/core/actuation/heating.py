"""Heat in kilowatts to outputs, by the kind of heater: valve and pump, stages of elements, a burner that pulses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from controller.core.actuation import pulses
from controller.core.actuation.pulses import PulsePlan, PulseState
from controller.core.equipment.heaters import AnyHeatConfig, ElectricConfig, GasConfig
from controller.core.equipment.valve import Characteristic, share_at_pct
from controller.core.quick import maker

# A stage is dropped only when the rest is this share of the pulsed one below nothing: else noise would wear it.
DROP_SHARE = 0.25


@dataclass(frozen=True, slots=True)
class HeatingPlan:
    """How the heater of this chamber is driven.

    valve, share: characteristic of the analog output, None for none, and share of the full flow at its position.
    stages, stage_kW: pulses and sizes of electric stages, the pulsed one first. burner: pulses at minimum fire.
    """

    kW_min: float
    hold_s: float
    stroke_s: float
    least: float
    valve: Characteristic | None
    share: Callable[[float], float]
    stages: tuple[PulsePlan, ...] = ()
    stage_kW: tuple[float, ...] = ()
    burner: PulsePlan | None = None
    fire_pct_min: float = 0.0


@dataclass(frozen=True, slots=True)
class HeatingState:
    """on: pump, main contactor or burner. since_s: how long it has been so. position_pct: of valve or fire.

    stages: of electric elements, or the one pulse of a burner.
    """

    on: bool
    since_s: float
    position_pct: float
    stages: tuple[PulseState, ...] = ()


_state = maker(HeatingState)


def plan(config: AnyHeatConfig) -> HeatingPlan:
    """What follows from the section."""
    if isinstance(config, ElectricConfig):
        stages = tuple(PulsePlan(stage.cycle_s, stage.on_s_min, stage.off_s_min) for stage in config.stage)
        sizes = tuple(stage.kW for stage in config.stage)
        return HeatingPlan(config.kW_min, config.hold_s, 1.0, 0.0, None, float, stages, sizes)
    least = 0.01 * config.move_pct_min
    if isinstance(config, GasConfig):
        burner = PulsePlan(config.cycle_s, config.on_s_min, config.off_s_min)
        return HeatingPlan(
            0.0, 0.0, config.stroke_s, least, None, float, burner=burner, fire_pct_min=config.fire_pct_min
        )
    valve = Characteristic(config.rangeability, config.authority)
    return HeatingPlan(config.kW_min, config.hold_s, config.stroke_s, least, valve, share_at_pct(valve))


def initial(plan: HeatingPlan) -> HeatingState:
    """Off, long enough to start at once."""
    stages = plan.stages if plan.burner is None else (plan.burner,)
    return HeatingState(False, plan.hold_s, 0.0, tuple(pulses.at_rest(stage) for stage in stages))


def corrected(
    plan: HeatingPlan, state: HeatingState, position_pct: float, taken: bool, dt_s: float
) -> HeatingState:
    """State as the device has it: the analog output stands at position_pct; taken: protection took the heat away."""
    if not taken:
        return HeatingState(state.on, state.since_s, position_pct, state.stages)
    stages = plan.stages if plan.burner is None else (plan.burner,)
    rested = tuple(pulses.cut(p, s, dt_s) for p, s in zip(stages, state.stages, strict=True))
    return HeatingState(False, 0.0, position_pct, rested)


def step(
    plan: HeatingPlan, state: HeatingState, heat_kW: float, ready: bool, capacity_kW: float, dt_s: float
) -> HeatingState:
    """Outputs of one scan. A pump runs and rests its shortest time, a lost contact beats it."""
    if not ready:
        heat_kW = 0.0
    if plan.burner is not None:
        return _fire(plan, plan.burner, state, heat_kW, ready, capacity_kW, dt_s)
    on, since_s, position_pct, stages = state.on, state.since_s, state.position_pct, state.stages
    if since_s < plan.hold_s:
        since_s += dt_s
    if on:
        if not ready or capacity_kW <= 0.0 or (heat_kW < 0.5 * plan.kW_min and since_s >= plan.hold_s):
            on, since_s = False, 0.0
    elif heat_kW > 0.0 and heat_kW >= plan.kW_min and capacity_kW > 0.0 and since_s >= plan.hold_s:
        on, since_s = True, 0.0
    if plan.stages:
        stages = _staged(plan, stages, heat_kW, on, dt_s)
    elif on or position_pct > 0.0:
        share = heat_kW / capacity_kW if on else 0.0
        missing = share - plan.share(position_pct)
        if not (-plan.least < missing < plan.least and 0.0 < share < 1.0 and position_pct > 0.0):
            assert plan.valve is not None
            position_pct = move(plan.valve, position_pct, share, 100.0 * dt_s / plan.stroke_s)
    if on is state.on and since_s == state.since_s and position_pct == state.position_pct and stages is state.stages:
        return state
    return _state(on, since_s, position_pct, stages)


def given_kW(plan: HeatingPlan, state: HeatingState, heat_kW: float, ready: bool, capacity_kW: float) -> float:
    """What the heater gives now: at its position, or the mean of its pulses."""
    if plan.stages or plan.burner is not None:
        return min(heat_kW, capacity_kW) if ready else 0.0
    return capacity_kW * plan.share(state.position_pct) if state.on else 0.0


def move(valve: Characteristic, now_pct: float, flow: float, step_pct: float) -> float:
    """A position one scan on, not faster than the drive's stroke."""
    return _toward(now_pct, 100.0 * valve.opening(flow), step_pct)


def _fire(
    plan: HeatingPlan, burner: PulsePlan, state: HeatingState, heat_kW: float, ready: bool, capacity_kW: float,
    dt_s: float,
) -> HeatingState:
    """Below minimum fire the burner is pulsed there; above it it burns on and the fire follows."""
    wanted_pct = 100.0 * heat_kW / capacity_kW if heat_kW > 0.0 else 0.0
    duty = wanted_pct / plan.fire_pct_min
    pulse = state.stages[0]
    after = pulses.step(burner, pulse, duty, dt_s) if ready else pulses.cut(burner, pulse, dt_s)
    fire_pct = 0.0
    if after.on:
        fire_pct = max(plan.fire_pct_min, min(wanted_pct, 100.0))
        if abs(fire_pct - state.position_pct) < 100.0 * plan.least and fire_pct > plan.fire_pct_min:
            fire_pct = state.position_pct
    position_pct = _toward(state.position_pct, fire_pct, 100.0 * dt_s / plan.stroke_s)
    if after is pulse and position_pct == state.position_pct:
        return state
    return _state(after.on, 0.0, position_pct, (after,))


def _staged(
    plan: HeatingPlan, stages: tuple[PulseState, ...], heat_kW: float, on: bool, dt_s: float
) -> tuple[PulseState, ...]:
    """Whole stages as long as more than the pulsed one is missing, the pulsed one for the rest.

    One whole stage changes in a scan, and the one that has switched least: so all wear alike.
    """
    plans, sizes = plan.stages, plan.stage_kW
    if not on:
        rested = tuple(pulses.cut(p, s, dt_s) for p, s in zip(plans, stages, strict=True))
        return stages if all(a is b for a, b in zip(rested, stages, strict=True)) else rested
    whole = [_older(p, s, dt_s) for p, s in zip(plans[1:], stages[1:], strict=True)]
    rest_kW = heat_kW - sum(size for size, stage in zip(sizes[1:], whole, strict=True) if stage.on)
    if rest_kW > sizes[0] or rest_kW < -DROP_SHARE * sizes[0]:
        add = rest_kW > 0.0
        able = [i for i, stage in enumerate(whole) if stage.on is not add and _may(plans[i + 1], stage)]
        if able:
            i = min(able, key=lambda i: (whole[i].strokes, -whole[i].since_s))
            whole[i] = PulseState(on=add, strokes=whole[i].strokes + add)
            rest_kW -= sizes[i + 1] if add else -sizes[i + 1]
    return (pulses.step(plans[0], stages[0], rest_kW / sizes[0], dt_s), *whole)


def _older(plan: PulsePlan, stage: PulseState, dt_s: float) -> PulseState:
    """A whole stage one scan on; its time stops counting once it may be switched."""
    if _may(plan, stage):
        return stage
    return PulseState(on=stage.on, since_s=stage.since_s + dt_s, strokes=stage.strokes)


def _may(plan: PulsePlan, stage: PulseState) -> bool:
    return stage.since_s >= (plan.on_s_min if stage.on else plan.off_s_min)


def _toward(now_pct: float, wanted_pct: float, step_pct: float) -> float:
    gap = wanted_pct - now_pct
    if gap > step_pct:
        return now_pct + step_pct
    return now_pct - step_pct if gap < -step_pct else wanted_pct
