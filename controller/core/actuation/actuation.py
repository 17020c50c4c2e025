"""From demands in physical units to outputs: characteristics, slew, pulses, run and enable, travel counters."""

from __future__ import annotations

from dataclasses import dataclass, replace

from controller.core.actuation import fogging, heating, pulses
from controller.core.actuation.heating import HeatingState, move
from controller.core.actuation.pulses import PulseState
from controller.core.actuation.wiring import ActuationPlan as ActuationPlan
from controller.core.actuation.wiring import bind as bind
from controller.core.climate.climate import Climate
from controller.core.equipment.actuators import Achieved as Achieved
from controller.core.equipment.actuators import ActuationConfig as ActuationConfig
from controller.core.equipment.actuators import BankConfig as BankConfig
from controller.core.equipment.actuators import FanConfig as FanConfig
from controller.core.equipment.actuators import FogConfig as FogConfig
from controller.core.equipment.actuators import FrameHeatingConfig as FrameHeatingConfig
from controller.core.equipment.actuators import VentConfig as VentConfig
from controller.core.equipment.heaters import AnyHeatConfig as AnyHeatConfig
from controller.core.equipment.heaters import HeatConfig as HeatConfig
from controller.core.frames import Frame, Outputs
from controller.core.loops.allocation import Demands
from controller.core.quick import maker

# After protection has taken an output away, it counts as not available for so long, or the loops would chatter.
BLOCKED_S = 60.0


@dataclass(frozen=True, slots=True)
class ActuationState:
    """Where the outputs stand, and how far they have travelled.

    heating: pump, valve, stages or burner.  fog_pct: of pump or humidifier.
    heat_blocked_s, fog_blocked_s: for how long the output still counts as taken away.
    *_travel_pct: sum of all moves; *_starts: times switched on (fog strokes are counted in the banks).
    wanted: the outputs asked for, given again as they are while nothing changes.
    """

    fan_pct: float
    heating: HeatingState
    damper_pct: float
    fog_pct: float
    frame_on: bool
    banks: tuple[PulseState, ...]
    heat_blocked_s: float
    fog_blocked_s: float
    valve_travel_pct: float
    damper_travel_pct: float
    fan_starts: int
    heat_starts: int
    wanted: Outputs


_state = maker(ActuationState)
_achieved = maker(Achieved)


def initial(plan: ActuationPlan) -> ActuationState:
    """Everything off and shut."""
    return ActuationState(
        fan_pct=0.0,
        heating=heating.initial(plan.heating),
        damper_pct=0.0,
        fog_pct=0.0,
        frame_on=False,
        banks=tuple(pulses.at_rest(bank) for bank in plan.fogging.banks),
        heat_blocked_s=0.0,
        fog_blocked_s=0.0,
        valve_travel_pct=0.0,
        damper_travel_pct=0.0,
        fan_starts=0,
        heat_starts=0,
        wanted=plan.at_rest,
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
    before, outputs = state, state.wanted
    if last is not None and (
        last.analog != outputs.analog or plan.driven(last.discrete) != plan.driven(outputs.discrete)
    ):
        before = _corrected(plan, state, last, dt_s)
    contacts, heat_blocked_s, fog_blocked_s = frame.discrete, before.heat_blocked_s, before.fog_blocked_s
    heat_ready = heat_blocked_s <= 0.0 and False not in plan.heat_contacts(contacts)
    fog_ready = fog_blocked_s <= 0.0 and False not in plan.fog_contacts(contacts)

    fan_pct = demands.fan_pct
    if fan_pct != before.fan_pct:
        fan_pct = _fan(plan.fan, before.fan_pct, fan_pct, dt_s)
    capacity_kW = _capacity_kW(plan, climate, frame)
    heat = heating.step(plan.heating, before.heating, demands.heat_kW, heat_ready, capacity_kW, dt_s)
    vent, damper_pct = demands.vent_kg_per_s, before.damper_pct
    if vent > 0.0 or damper_pct > 0.0:
        damper_pct = _vent(plan, damper_pct, vent, dt_s)
    fog_kg_per_h = demands.fog_kg_per_h if fog_ready else 0.0
    banks, same, fog_pct = fogging.step(plan.fogging, before.banks, fog_kg_per_h, fog_ready, dt_s)
    frame_on = _frame_heating(plan.frame_heating, plan.frame_ai, before.frame_on, climate, frame)

    same = same and fan_pct == before.fan_pct and damper_pct == before.damper_pct and fog_pct == before.fog_pct
    same = same and frame_on == before.frame_on and _alike(heat, before.heating)
    if before is not state or not same:
        outputs = _written(plan, fan_pct, heat, damper_pct, fog_pct, frame_on, banks)
    if same and banks is before.banks and heat is before.heating and heat_blocked_s <= 0.0 and fog_blocked_s <= 0.0:
        if before is not state:
            before = replace(before, wanted=outputs)
    else:
        before = _state(
            fan_pct, heat, damper_pct, fog_pct, frame_on, banks,
            heat_blocked_s - dt_s if heat_blocked_s > 0.0 else 0.0,
            fog_blocked_s - dt_s if fog_blocked_s > 0.0 else 0.0,
            state.valve_travel_pct + abs(heat.position_pct - state.heating.position_pct),
            state.damper_travel_pct + abs(damper_pct - state.damper_pct),
            state.fan_starts + (fan_pct > 0.0 and state.fan_pct <= 0.0),
            state.heat_starts + (heat.on and not state.heating.on),
            outputs,
        )  # fmt: skip
    return before, outputs, _achieved(
        capacity_kW if heat_ready else 0.0,
        plan.fogging.kg_per_h_max if fog_ready else 0.0,
        plan.vent.kg_per_s_max,
        fog_kg_per_h,
        heating.given_kW(plan.heating, heat, demands.heat_kW, heat_ready, capacity_kW),
    )


def _corrected(plan: ActuationPlan, state: ActuationState, last: Outputs, dt_s: float) -> ActuationState:
    """The state as the device has it: positions that protection changed, outputs that it took away."""
    analog, discrete, heat = last.analog, last.discrete, state.heating
    heat_taken = heat.on and not discrete[plan.enable_do]
    fog_taken = False
    for bank, column in zip(state.banks, plan.bank_do, strict=True):
        if bank.on and not discrete[column]:
            fog_taken = True
    fan_pct = analog[plan.speed_ao] if discrete[plan.run_do] else 0.0
    damper_pct = analog[plan.damper_ao]
    valve_pct = analog[plan.valve_ao] if plan.valve_ao >= 0 else 0.0
    if not (heat_taken or fog_taken) and (
        valve_pct == heat.position_pct and damper_pct == state.damper_pct and fan_pct == state.fan_pct
    ):
        return state
    return replace(
        state,
        fan_pct=fan_pct,
        heating=heating.corrected(plan.heating, heat, valve_pct, heat_taken, dt_s),
        damper_pct=damper_pct,
        heat_blocked_s=BLOCKED_S if heat_taken else state.heat_blocked_s,
        fog_blocked_s=BLOCKED_S if fog_taken else state.fog_blocked_s,
    )


def _written(
    plan: ActuationPlan,
    fan_pct: float,
    heat: HeatingState,
    damper_pct: float,
    fog_pct: float,
    frame_on: bool,
    banks: tuple[PulseState, ...],
) -> Outputs:
    """The columns of the outputs; what actuation does not drive (beacon, horn, healthy) is at rest."""
    analog, discrete = list(plan.at_rest.analog), list(plan.at_rest.discrete)
    analog[plan.speed_ao], analog[plan.damper_ao] = fan_pct, damper_pct
    if plan.valve_ao >= 0:
        analog[plan.valve_ao] = heat.position_pct
    if plan.fog_ao >= 0:
        analog[plan.fog_ao] = fog_pct
    discrete[plan.run_do] = fan_pct > 0.0
    discrete[plan.enable_do] = heat.on
    if plan.stage_do:
        for stage, column in zip(heat.stages, plan.stage_do, strict=True):
            discrete[column] = stage.on
    for bank, column in zip(banks, plan.bank_do, strict=True):
        discrete[column] = bank.on
    if plan.frame_do >= 0:
        discrete[plan.frame_do] = frame_on
    return Outputs(tuple(analog), tuple(discrete))


def _fan(fan: FanConfig, now_pct: float, wanted_pct: float, dt_s: float) -> float:
    """Speed of this scan: 0 stops at once, a start begins at the slowest speed, then the slew limit holds."""
    if not wanted_pct > 0.0:
        return 0.0
    wanted_pct = min(max(wanted_pct, fan.speed_pct_min), 100.0)
    step = fan.slew_pct_per_s * dt_s
    if now_pct <= 0.0:
        return min(max(fan.speed_pct_min, step), wanted_pct)
    return min(max(wanted_pct, now_pct - step), now_pct + step)


def _alike(heat: HeatingState, was: HeatingState) -> bool:
    """Do two states of the heater give the same outputs?"""
    if heat is was:
        return True
    if heat.on is not was.on or heat.position_pct != was.position_pct:
        return False
    if heat.stages is not was.stages:
        for stage, before in zip(heat.stages, was.stages, strict=True):
            if stage.on is not before.on:
                return False
    return True


def _vent(plan: ActuationPlan, damper_pct: float, vent_kg_per_s: float, dt_s: float) -> float:
    """The damper; next to nothing does not open it, and half of that closes it again."""
    vent = plan.vent
    opens = vent_kg_per_s > 0.0 and vent_kg_per_s >= (0.5 if damper_pct > 0.0 else 1.0) * vent.kg_per_s_min
    share, least = vent_kg_per_s / vent.kg_per_s_max if opens else 0.0, 0.01 * vent.move_pct_min
    missing = share - plan.damper_share(damper_pct)
    if -least < missing < least and 0.0 < share < 1.0 and damper_pct > 0.0:
        return damper_pct  # less flow than is worth a move
    return move(plan.damper, damper_pct, share, 100.0 * dt_s / vent.stroke_s)


def _capacity_kW(plan: ActuationPlan, climate: Climate, frame: Frame) -> float:
    """What a fully open valve gives with the water as it is now; the configured size where it is not measured."""
    heat = plan.heat
    if plan.water_ai < 0:
        return heat.capacity_kW
    share = (frame.values[plan.water_ai] - climate.temperature_degC) / plan.water_lift_K
    if share != share:
        return heat.capacity_kW
    return heat.capacity_kW * (0.0 if share < 0.0 else 1.5 if share > 1.5 else share)


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
