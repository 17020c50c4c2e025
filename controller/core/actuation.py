"""From demands in physical units to outputs: characteristics, slew, pulses, run and enable, travel counters."""

from __future__ import annotations

from dataclasses import dataclass

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
from controller.core.binding import Binder
from controller.core.climate import Climate
from controller.core.frames import Frame, Outputs
from controller.core.points import Point, of_kind
from controller.core.pulses import PulsePlan, PulseState
from controller.core.valve import Characteristic

# After protection has taken an output away, it counts as not available for so long, or the loops would chatter.
BLOCKED_S = 60.0
# kg of water in one fog cycle; larger pulses swing the dew point by themselves.
PULSE_KG_MAX = 1.0


@dataclass(frozen=True, slots=True)
class ActuationPlan:
    """Columns of tags, characteristics and steps per scan of one chamber."""

    fan: FanConfig
    heat: HeatConfig
    vent: VentConfig
    frame_heating: FrameHeatingConfig | None
    valve: Characteristic
    damper: Characteristic
    banks: tuple[PulsePlan, ...]
    bank_kg_per_h: tuple[float, ...]
    fog_kg_per_h_max: float
    speed_ao: int
    valve_ao: int
    damper_ao: int
    run_do: int
    enable_do: int
    bank_do: tuple[int, ...]
    frame_do: int
    water_ai: int
    frame_ai: tuple[int, ...]
    heat_di: tuple[int, ...]
    fog_di: tuple[int, ...]
    at_rest: Outputs


@dataclass(frozen=True, slots=True)
class ActuationState:
    """Where the outputs stand, and how far they have travelled.

    heat_blocked_s, fog_blocked_s: for how long the output still counts as taken away.
    *_travel_pct: sum of all moves; *_starts: times switched on (fog strokes are counted in the banks).
    """

    fan_pct: float
    valve_pct: float
    damper_pct: float
    heat_on: bool
    frame_on: bool
    banks: tuple[PulseState, ...]
    heat_blocked_s: float
    fog_blocked_s: float
    valve_travel_pct: float
    damper_travel_pct: float
    fan_starts: int
    heat_starts: int


def bind(config: ActuationConfig, points: tuple[Point, ...]) -> ActuationPlan:
    """Tags to columns. Raises ConfigError with every tag that the point list does not have."""
    fan, heat, fog, vent, frame = config.fan, config.heat, config.fog, config.vent, config.frame_heating
    binder = Binder("actuators", points)
    for bank in fog.bank:
        if bank.kg_per_h * bank.cycle_s > 3600.0 * PULSE_KG_MAX:
            binder.refuse(
                "fog.bank.cycle_s", f"{bank.cycle_s:g}", f"at most {3600.0 / bank.kg_per_h:.0f}", "shorten the cycle"
            )
    plan = ActuationPlan(
        fan=fan,
        heat=heat,
        vent=vent,
        frame_heating=frame,
        valve=Characteristic(heat.rangeability, heat.authority),
        damper=Characteristic(vent.rangeability, vent.authority),
        banks=tuple(PulsePlan(bank.cycle_s, bank.on_s_min, bank.off_s_min) for bank in fog.bank),
        bank_kg_per_h=tuple(bank.kg_per_h for bank in fog.bank),
        fog_kg_per_h_max=sum(bank.kg_per_h for bank in fog.bank),
        speed_ao=binder.column("fan.speed", fan.speed, "AO"),
        valve_ao=binder.column("heat.valve", heat.valve, "AO"),
        damper_ao=binder.column("vent.damper", vent.damper, "AO"),
        run_do=binder.column("fan.run", fan.run, "DO"),
        enable_do=binder.column("heat.enable", heat.enable, "DO"),
        bank_do=tuple(binder.column("fog.bank.tag", bank.tag, "DO") for bank in fog.bank),
        frame_do=binder.column("frame_heating.output", frame.output, "DO") if frame else -1,
        water_ai=binder.column("heat.water", heat.water) if heat.water else -1,
        frame_ai=tuple(binder.column("frame_heating.frames", tag) for tag in frame.frames) if frame else (),
        heat_di=tuple(binder.column("heat.ready", tag, "DI") for tag in heat.ready),
        fog_di=tuple(binder.column("fog.ready", tag, "DI") for tag in fog.ready),
        at_rest=Outputs(
            tuple(0.0 for _ in of_kind(points, "AO")), tuple(False for _ in of_kind(points, "DO"))
        ),
    )
    binder.done()
    return plan


def initial(plan: ActuationPlan) -> ActuationState:
    """Everything off and shut."""
    return ActuationState(
        fan_pct=0.0,
        valve_pct=0.0,
        damper_pct=0.0,
        heat_on=False,
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
    contacts = frame.discrete
    valve_from, damper_from = state.valve_pct, state.damper_pct
    heat_blocked_s, fog_blocked_s, banks = state.heat_blocked_s, state.fog_blocked_s, state.banks
    if heat_blocked_s > 0.0:
        heat_blocked_s -= dt_s
    if fog_blocked_s > 0.0:
        fog_blocked_s -= dt_s
    if last is not None:
        if state.heat_on and not last.discrete[plan.enable_do]:
            heat_blocked_s = BLOCKED_S
        valve_from, damper_from = last.analog[plan.valve_ao], last.analog[plan.damper_ao]
        for bank, column in zip(banks, plan.bank_do, strict=True):
            if bank.on and not last.discrete[column]:
                fog_blocked_s = BLOCKED_S

    fan_pct = _fan(plan.fan, state.fan_pct, demands.fan_pct, dt_s)
    heat_ready = heat_blocked_s <= 0.0 and _closed(contacts, plan.heat_di)
    capacity_kW = _capacity_kW(plan, climate, frame)
    heat_kW = demands.heat_kW if heat_ready else 0.0
    heat_on = heat_kW > 0.0 and heat_kW >= (0.5 if state.heat_on else 1.0) * plan.heat.kW_min
    valve_want = 100.0 * plan.valve.opening(heat_kW / capacity_kW) if heat_on and capacity_kW > 0.0 else 0.0
    valve_pct = _move(valve_from, valve_want, 100.0 * dt_s / plan.heat.stroke_s, plan.heat.move_pct_min)

    vent = demands.vent_kg_per_s
    vent_open = vent > 0.0 and vent >= (0.5 if damper_from > 0.0 else 1.0) * plan.vent.kg_per_s_min
    damper_want = 100.0 * plan.damper.opening(vent / plan.vent.kg_per_s_max) if vent_open else 0.0
    damper_pct = _move(damper_from, damper_want, 100.0 * dt_s / plan.vent.stroke_s, plan.vent.move_pct_min)

    fog_ready = fog_blocked_s <= 0.0 and _closed(contacts, plan.fog_di)
    fog_kg_per_h = min(demands.fog_kg_per_h, plan.fog_kg_per_h_max) if fog_ready else 0.0
    banks = _fog(plan, banks, fog_kg_per_h, fog_ready, dt_s)
    frame_on = _frame_heating(plan, state.frame_on, climate, frame)

    analog, discrete = list(plan.at_rest.analog), list(plan.at_rest.discrete)
    analog[plan.speed_ao], analog[plan.valve_ao], analog[plan.damper_ao] = fan_pct, valve_pct, damper_pct
    discrete[plan.run_do], discrete[plan.enable_do] = fan_pct > 0.0, heat_on
    for bank, column in zip(banks, plan.bank_do, strict=True):
        discrete[column] = bank.on
    if plan.frame_do >= 0:
        discrete[plan.frame_do] = frame_on
    if not (
        fan_pct == state.fan_pct
        and valve_pct == state.valve_pct
        and damper_pct == state.damper_pct
        and heat_on == state.heat_on
        and frame_on == state.frame_on
        and banks is state.banks
        and heat_blocked_s == state.heat_blocked_s
        and fog_blocked_s == state.fog_blocked_s
    ):
        state = ActuationState(
            fan_pct,
            valve_pct,
            damper_pct,
            heat_on,
            frame_on,
            banks,
            heat_blocked_s,
            fog_blocked_s,
            state.valve_travel_pct + abs(valve_pct - valve_from),
            state.damper_travel_pct + abs(damper_pct - damper_from),
            state.fan_starts + (fan_pct > 0.0 and state.fan_pct <= 0.0),
            state.heat_starts + (heat_on and not state.heat_on),
        )
    return (
        state,
        Outputs(tuple(analog), tuple(discrete)),
        Achieved(
            capacity_kW if heat_ready else 0.0,
            plan.fog_kg_per_h_max if fog_ready else 0.0,
            plan.vent.kg_per_s_max,
            fog_kg_per_h,
            capacity_kW * plan.valve.flow(0.01 * valve_pct) if heat_on else 0.0,
        ),
    )


def _closed(contacts: tuple[bool, ...], columns: tuple[int, ...]) -> bool:
    """Whether all of these contacts are closed; a contact of the healthy plant is wired closed."""
    return all(map(contacts.__getitem__, columns))


def _fan(fan: FanConfig, now_pct: float, wanted_pct: float, dt_s: float) -> float:
    """Speed of this scan: 0 stops at once, a start begins at the slowest speed, then the slew limit holds."""
    if not wanted_pct > 0.0:
        return 0.0
    wanted_pct = min(max(wanted_pct, fan.speed_pct_min), 100.0)
    if now_pct <= 0.0:
        return min(fan.speed_pct_min, wanted_pct) or min(fan.slew_pct_per_s * dt_s, wanted_pct)
    step = fan.slew_pct_per_s * dt_s
    return min(max(wanted_pct, now_pct - step), now_pct + step)


def _move(now_pct: float, wanted_pct: float, step_pct: float, least_pct: float) -> float:
    """A position one scan on: not faster than the drive's stroke, not for less than a move worth making."""
    gap = wanted_pct - now_pct
    if -least_pct < gap < least_pct and 0.0 < wanted_pct < 100.0:
        return now_pct
    return now_pct + min(max(gap, -step_pct), step_pct)


def _capacity_kW(plan: ActuationPlan, climate: Climate, frame: Frame) -> float:
    """What a fully open valve gives with the water as it is now; the configured size where it is not measured."""
    heat = plan.heat
    if plan.water_ai < 0:
        return heat.capacity_kW
    lift_K = frame.values[plan.water_ai] - climate.temperature_degC
    if lift_K != lift_K:
        return heat.capacity_kW
    share = lift_K / (heat.water_nominal_degC - heat.air_nominal_degC)
    return heat.capacity_kW * min(max(share, 0.0), 1.5)


def _fog(
    plan: ActuationPlan, banks: tuple[PulseState, ...], fog_kg_per_h: float, ready: bool, dt_s: float
) -> tuple[PulseState, ...]:
    """Pulses of every bank: the smallest takes what it can, the next the rest. The same tuple when all rest."""
    moved = False
    new: list[PulseState] = []
    for pulse, bank, size in zip(plan.banks, banks, plan.bank_kg_per_h, strict=True):
        if ready:
            share = min(fog_kg_per_h, size)
            fog_kg_per_h -= share
            after = pulses.step(pulse, bank, share / size, dt_s)
        else:
            after = pulses.cut(pulse, bank, dt_s)
        moved = moved or after is not bank
        new.append(after)
    return tuple(new) if moved else banks


def _frame_heating(plan: ActuationPlan, on: bool, climate: Climate, frame: Frame) -> bool:
    """A thermostat on the coldest door frame against the dew point; off where either is not known."""
    config = plan.frame_heating
    if config is None:
        return False
    dew = climate.dew_point_degC
    coldest = min([t for t in [frame.values[column] for column in plan.frame_ai] if t == t], default=dew + 1e9)
    if on:
        return coldest < dew + config.off_margin_K
    return coldest < dew + config.on_margin_K
