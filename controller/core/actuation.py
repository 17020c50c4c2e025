"""From demands in physical units to outputs: characteristics, slew, pulses, run and enable, travel counters."""

from __future__ import annotations

from dataclasses import dataclass, replace

from controller.core import pulses
from controller.core.actuators import Achieved as Achieved
from controller.core.actuators import ActuationConfig as ActuationConfig
from controller.core.actuators import BankConfig as BankConfig
from controller.core.actuators import FanConfig as FanConfig
from controller.core.actuators import FogConfig as FogConfig
from controller.core.actuators import FrameHeatingConfig as FrameHeatingConfig
from controller.core.actuators import HeatConfig as HeatConfig
from controller.core.actuators import VentConfig as VentConfig
from controller.core.allocation import Demands
from controller.core.climate import Climate
from controller.core.frames import Frame, Outputs
from controller.core.pulses import PulseState
from controller.core.quick import maker
from controller.core.valve import Characteristic
from controller.core.wiring import ActuationPlan as ActuationPlan
from controller.core.wiring import bind as bind

# After protection has taken an output away, it counts as not available for so long, or the loops would chatter.
BLOCKED_S = 60.0


@dataclass(frozen=True, slots=True)
class ActuationState:
    """Where the outputs stand, and how far they have travelled.

    heat_s: how long the heating pump has been on or off (stops at its shortest time).
    heat_blocked_s, fog_blocked_s: for how long the output still counts as taken away.
    *_travel_pct: sum of all moves; *_starts: times switched on (fog strokes are counted in the banks).
    """

    fan_pct: float
    valve_pct: float
    damper_pct: float
    heat_on: bool
    heat_s: float
    frame_on: bool
    banks: tuple[PulseState, ...]
    heat_blocked_s: float
    fog_blocked_s: float
    valve_travel_pct: float
    damper_travel_pct: float
    fan_starts: int
    heat_starts: int


_state = maker(ActuationState)
_outputs = maker(Outputs)
_achieved = maker(Achieved)


def initial(plan: ActuationPlan) -> ActuationState:
    """Everything off and shut."""
    return ActuationState(
        fan_pct=0.0,
        valve_pct=0.0,
        damper_pct=0.0,
        heat_on=False,
        heat_s=plan.heat.hold_s,
        frame_on=False,
        banks=tuple(pulses.at_rest(bank) for bank in plan.banks),
        heat_blocked_s=0.0,
        fog_blocked_s=0.0,
        valve_travel_pct=0.0,
        damper_travel_pct=0.0,
        fan_starts=0,
        heat_starts=0,
    )


def achieved_at_start(plan: ActuationPlan) -> Achieved:
    """Nothing can be given before the contacts have been read once; the damper needs none."""
    return Achieved(0.0, 0.0, plan.vent.kg_per_s_max, 0.0, 0.0)


def outputs_at_rest(plan: ActuationPlan) -> Outputs:
    """Every output off."""
    return plan.at_rest


def actuate(
    plan: ActuationPlan,
    state: ActuationState,
    demands: Demands,
    climate: Climate,
    frame: Frame,
    dt_s: float,
    last: Outputs | None = None,
) -> tuple[ActuationState, Outputs, Achieved]:
    """Outputs of one scan, and what the actuators can give in the next.

    last: the outputs that protection let through in the scan before. With them positions go on from where the
    actuators really stand, and what was taken away is not available for a while.
    """
    before = state if last is None else _corrected(plan, state, last)
    contacts, heat, vent_config = frame.discrete, plan.heat, plan.vent
    heat_blocked_s, fog_blocked_s = before.heat_blocked_s, before.fog_blocked_s
    heat_ready, fog_ready = heat_blocked_s <= 0.0, fog_blocked_s <= 0.0
    for column in plan.heat_di:
        heat_ready = heat_ready and contacts[column]
    for column in plan.fog_di:
        fog_ready = fog_ready and contacts[column]

    fan_pct = demands.fan_pct
    if fan_pct != before.fan_pct:
        fan_pct = _fan(plan.fan, before.fan_pct, fan_pct, dt_s)

    capacity_kW = _capacity_kW(plan, climate, frame)
    heat_kW = demands.heat_kW if heat_ready else 0.0
    heat_on, heat_s = before.heat_on, before.heat_s
    if heat_s < heat.hold_s:
        heat_s += dt_s
    if heat_on:
        if not heat_ready or capacity_kW <= 0.0 or (heat_kW < 0.5 * heat.kW_min and heat_s >= heat.hold_s):
            heat_on, heat_s = False, 0.0
    elif heat_kW > 0.0 and heat_kW >= heat.kW_min and capacity_kW > 0.0 and heat_s >= heat.hold_s:
        heat_on, heat_s = True, 0.0
    valve_pct = before.valve_pct
    if heat_on or valve_pct > 0.0:
        share = heat_kW / capacity_kW if heat_on else 0.0
        valve_pct = _move(plan.valve, valve_pct, share, 100.0 * dt_s / heat.stroke_s, 0.01 * heat.move_pct_min)

    vent, damper_pct = demands.vent_kg_per_s, before.damper_pct
    if vent > 0.0 or damper_pct > 0.0:
        opens = vent > 0.0 and vent >= (0.5 if damper_pct > 0.0 else 1.0) * vent_config.kg_per_s_min
        share = vent / vent_config.kg_per_s_max if opens else 0.0
        step_pct = 100.0 * dt_s / vent_config.stroke_s
        damper_pct = _move(plan.damper, damper_pct, share, step_pct, 0.01 * vent_config.move_pct_min)

    fog_kg_per_h = demands.fog_kg_per_h if fog_ready else 0.0
    banks = _fog(plan, before.banks, fog_kg_per_h, fog_ready, dt_s)
    frame_on = _frame_heating(plan.frame_heating, plan.frame_ai, before.frame_on, climate, frame)
    if not (
        banks is before.banks
        and fan_pct == before.fan_pct
        and valve_pct == before.valve_pct
        and damper_pct == before.damper_pct
        and heat_on == before.heat_on
        and frame_on == before.frame_on
        and heat_s == before.heat_s
        and heat_blocked_s <= 0.0
        and fog_blocked_s <= 0.0
    ):
        before = _state(
            fan_pct,
            valve_pct,
            damper_pct,
            heat_on,
            heat_s,
            frame_on,
            banks,
            heat_blocked_s - dt_s if heat_blocked_s > 0.0 else 0.0,
            fog_blocked_s - dt_s if fog_blocked_s > 0.0 else 0.0,
            state.valve_travel_pct + abs(valve_pct - state.valve_pct),
            state.damper_travel_pct + abs(damper_pct - state.damper_pct),
            state.fan_starts + (fan_pct > 0.0 and state.fan_pct <= 0.0),
            state.heat_starts + (heat_on and not state.heat_on),
        )
    return (
        before,
        _written(plan, before),
        _achieved(
            capacity_kW if heat_ready else 0.0,
            plan.fog_kg_per_h_max if fog_ready else 0.0,
            vent_config.kg_per_s_max,
            fog_kg_per_h,
            capacity_kW * plan.valve.flow(0.01 * valve_pct) if heat_on else 0.0,
        ),
    )


def _corrected(plan: ActuationPlan, state: ActuationState, last: Outputs) -> ActuationState:
    """The state as the device has it: positions that protection changed, outputs that it took away."""
    analog, discrete = last.analog, last.discrete
    heat_taken = state.heat_on and not discrete[plan.enable_do]
    fog_taken = False
    for bank, column in zip(state.banks, plan.bank_do, strict=True):
        if bank.on and not discrete[column]:
            fog_taken = True
    fan_pct = analog[plan.speed_ao] if discrete[plan.run_do] else 0.0
    valve_pct, damper_pct = analog[plan.valve_ao], analog[plan.damper_ao]
    if not (heat_taken or fog_taken) and (
        valve_pct == state.valve_pct and damper_pct == state.damper_pct and fan_pct == state.fan_pct
    ):
        return state
    return replace(
        state,
        fan_pct=fan_pct,
        valve_pct=valve_pct,
        damper_pct=damper_pct,
        heat_on=state.heat_on and not heat_taken,
        heat_s=0.0 if heat_taken else state.heat_s,
        heat_blocked_s=BLOCKED_S if heat_taken else state.heat_blocked_s,
        fog_blocked_s=BLOCKED_S if fog_taken else state.fog_blocked_s,
    )


def _written(plan: ActuationPlan, state: ActuationState) -> Outputs:
    """The columns of the outputs; what actuation does not drive (beacon, horn, healthy) is at rest."""
    analog, discrete = list(plan.at_rest.analog), list(plan.at_rest.discrete)
    analog[plan.speed_ao] = state.fan_pct
    analog[plan.valve_ao] = state.valve_pct
    analog[plan.damper_ao] = state.damper_pct
    discrete[plan.run_do] = state.fan_pct > 0.0
    discrete[plan.enable_do] = state.heat_on
    for bank, column in zip(state.banks, plan.bank_do, strict=True):
        discrete[column] = bank.on
    if plan.frame_do >= 0:
        discrete[plan.frame_do] = state.frame_on
    return _outputs(tuple(analog), tuple(discrete))


def _fan(fan: FanConfig, now_pct: float, wanted_pct: float, dt_s: float) -> float:
    """Speed of this scan: 0 stops at once, a start begins at the slowest speed, then the slew limit holds."""
    if not wanted_pct > 0.0:
        return 0.0
    wanted_pct = min(max(wanted_pct, fan.speed_pct_min), 100.0)
    step = fan.slew_pct_per_s * dt_s
    if now_pct <= 0.0:
        return min(max(fan.speed_pct_min, step), wanted_pct)
    return min(max(wanted_pct, now_pct - step), now_pct + step)


def _move(valve: Characteristic, now_pct: float, flow: float, step_pct: float, least: float) -> float:
    """A position one scan on: not faster than the drive's stroke, not for less flow than is worth a move."""
    if flow > 0.0:
        missing = flow - valve.flow(0.01 * now_pct)
        if -least < missing < least and flow < 1.0 and now_pct > 0.0:
            return now_pct
        wanted_pct = 100.0 * valve.opening(flow)
    else:
        wanted_pct = 0.0
    gap = wanted_pct - now_pct
    if gap > step_pct:
        return now_pct + step_pct
    return now_pct - step_pct if gap < -step_pct else wanted_pct


def _capacity_kW(plan: ActuationPlan, climate: Climate, frame: Frame) -> float:
    """What a fully open valve gives with the water as it is now; the configured size where it is not measured."""
    heat = plan.heat
    if plan.water_ai < 0:
        return heat.capacity_kW
    share = (frame.values[plan.water_ai] - climate.temperature_degC) / plan.water_lift_K
    if share != share:
        return heat.capacity_kW
    return heat.capacity_kW * (0.0 if share < 0.0 else 1.5 if share > 1.5 else share)


def _fog(
    plan: ActuationPlan, banks: tuple[PulseState, ...], fog_kg_per_h: float, ready: bool, dt_s: float
) -> tuple[PulseState, ...]:
    """Pulses of every bank: the smallest takes what it can, the next the rest. The same tuple when all rest."""
    moved = False
    new: list[PulseState] = []
    for pulse, bank, size in zip(plan.banks, banks, plan.bank_kg_per_h, strict=True):
        if not ready:
            after = pulses.cut(pulse, bank, dt_s)
        elif fog_kg_per_h > 0.0:
            share = fog_kg_per_h if fog_kg_per_h < size else size
            fog_kg_per_h -= share
            after = pulses.step(pulse, bank, share / size, dt_s)
        else:
            after = pulses.step(pulse, bank, 0.0, dt_s)
        moved = moved or after is not bank
        new.append(after)
    return tuple(new) if moved else banks


def _frame_heating(
    config: FrameHeatingConfig | None, columns: tuple[int, ...], on: bool, climate: Climate, frame: Frame
) -> bool:
    """A thermostat on the coldest door frame against the dew point; off where either is not known."""
    if config is None:
        return False
    limit = climate.dew_point_degC + (config.off_margin_K if on else config.on_margin_K)
    values = frame.values
    for column in columns:  # noqa: SIM110 - any() costs a generator every scan
        if values[column] < limit:  # never for NaN
            return True
    return False
