"""The one place that turns two demands into heat, vent and fog, with dead zones.

Temperature is a band: need_kW = pi(error) + ramp feed-forward + heat of evaporating fog - fan heat, where error is
floor - T below the floor, ceiling - T above the ceiling, else zero. Need above zero is heat; need below the dead zone
is vent, with the air above the ceiling, or not far below a single setpoint that had to be cooled. Moisture is a band
too: fog below it, vent above it, nothing between. There is one integrator per quantity, never two around one setpoint:
two of them heat and vent against each other for ever.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Ge, Gt, Le

from controller.core.climate.climate import Climate
from controller.core.equipment.actuators import Achieved, ActuationConfig, FanConfig
from controller.core.loops import loops
from controller.core.loops.capacity import circulation, fog_cap, fog_heat_kW_per_kg_h, heat_cap, outdoors
from controller.core.loops.constraints import Limits
from controller.core.loops.loops import Loop, LoopConfig, LoopState
from controller.core.product.product import Product
from controller.core.quick import maker
from controller.core.setpoints import Targets

NO_TEMPERATURE = "no good air temperature: heat and vent for temperature off"
NO_MOISTURE = "no good dew point: fog and vent for moisture off"
EVAPORATION = "fog limited: what the air can evaporate"
VENT_DEW = "vent: dew point above the limit of "
FLOOR_SAGS = "heat held back: the vent carries moisture out"
VENT_FULL = "vent fully open"
VENT_USELESS = "vent closed: outdoor air would not help"


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperatureConfig:
    """[temperature]: the heat loop and what it has to move. Gains are those at nominal_t; they scale with the mass.

    cooling_integral_s: integral time while a single setpoint has to be cooled: outdoor air acts at once, a heater not.
    dead_zone_kW: no vent for temperature before this much cooling is needed.
    fog_heat_band_K: fog's evaporation heat is fed forward only while the air is below the floor plus this.
    vent_kg_per_s_heated: while the vent carries moisture out, heat fades, and from this vent on there is none...
    sag_K, sag_single_K: ...until the air has sagged so far below the floor of a band, or below a single setpoint; then
    it comes back over half a kelvin. So far below a single setpoint the vent goes on with what the loop has learnt to
    carry out; above the ceiling only it opens for more.
    product_MJ_per_K_per_t, fixed_MJ_per_K: thermal mass of the product, and of boards and racks.
    """

    gain_kW_per_K: Annotated[float, Gt(0), Le(500)] = 20.0
    integral_s: Annotated[float, Ge(60), Le(36000)] = 2400.0
    cooling_integral_s: Annotated[float, Ge(60), Le(36000)] = 600.0
    decay_s: Annotated[float, Ge(60), Le(36000)] = 1800.0
    dead_zone_kW: Annotated[float, Ge(0), Le(50)] = 2.0
    fog_heat_band_K: Annotated[float, Ge(0), Le(2)] = 0.3
    vent_kg_per_s_heated: Annotated[float, Ge(0.01), Le(10)] = 0.1
    sag_K: Annotated[float, Ge(0), Le(5)] = 1.0
    sag_single_K: Annotated[float, Ge(0), Le(1)] = 0.6
    nominal_t: Annotated[float, Gt(0), Le(1000)] = 120.0
    product_MJ_per_K_per_t: Annotated[float, Ge(0.7), Le(1.5)] = 1.0
    fixed_MJ_per_K: Annotated[float, Ge(0), Le(500)] = 46.6


@dataclass(frozen=True, slots=True, kw_only=True)
class MoistureConfig:
    """[moisture]: the loop on the humidity ratio. One integrator; above zero it fogs, below zero it vents.

    vent_gain_ratio: gain above the dew limit over the gain below the humidity floor.
    full_gain_below_rh_pct: above it the gain falls in proportion to what is missing to saturation...
    gain_ratio_min: ...but not below this share.
    """

    gain_kg_per_h_per_g_per_kg: Annotated[float, Gt(0), Le(500)] = 13.0
    integral_s: Annotated[float, Ge(60), Le(36000)] = 800.0
    decay_s: Annotated[float, Ge(60), Le(36000)] = 800.0
    vent_gain_ratio: Annotated[float, Gt(0), Le(20)] = 1.0
    full_gain_below_rh_pct: Annotated[float, Ge(50), Le(99)] = 96.0
    gain_ratio_min: Annotated[float, Gt(0), Le(1)] = 0.25


@dataclass(frozen=True, slots=True)
class Demands:
    """What the chamber is asked to do in this scan, in physical units, before actuators shape it.

    fighting_kW: min(heat, heat carried out by the vent), this scan; it should be nothing.
    why: what limits, in words, one entry a limit ("dew limit: board bay 1 level 1").
    """

    heat_kW: float
    vent_kg_per_s: float
    fog_kg_per_h: float
    fan_pct: float
    fighting_kW: float
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AllocationState:
    """The two integrators."""

    temperature: LoopState
    moisture: LoopState


_demands = maker(Demands)
_state = maker(AllocationState)
NOTHING_LEARNT = LoopState()


@dataclass(frozen=True, slots=True)
class AllocationPlan:
    """Both loops with gains for this load, and what the actuators of this chamber are.

    mass_kWs_per_K: thermal mass that a ramp has to move.
    fog_kW_per_kg_h: heat that fog costs (below 0 of steam). heat_kg_per_kWh: water that comes with heat (steam), which
    fades over the last steam_fade_g_per_kg below the dew limit.
    """

    temperature: Loop
    cooling: Loop
    moisture: Loop
    mass_kWs_per_K: float
    dead_zone_kW: float
    fog_heat_band_K: float
    vent_kg_per_s_heated: float
    sag_K: float
    sag_single_K: float
    moisture_gain: float
    vent_gain_ratio: float
    rh_full_gain_pct: float
    gain_ratio_min: float
    fan: FanConfig
    fog_kW_per_kg_h: float
    heat_kg_per_kWh: float
    steam_fade_g_per_kg: float


def bind(
    temperature: TemperatureConfig, moisture: MoistureConfig, actuators: ActuationConfig, *, load_t: float
) -> AllocationPlan:
    """Schedules the heat gain and the ramp feed-forward on the tonnes entered (0 = an empty chamber)."""
    c, m = temperature, moisture
    mass_MJ_per_K = c.product_MJ_per_K_per_t * load_t + c.fixed_MJ_per_K
    share = mass_MJ_per_K / (c.product_MJ_per_K_per_t * c.nominal_t + c.fixed_MJ_per_K)
    gain = c.gain_kW_per_K * share
    return AllocationPlan(
        temperature=loops.bind(LoopConfig(gain=gain, integral_s=c.integral_s, decay_s=c.decay_s)),
        cooling=loops.bind(LoopConfig(gain=gain, integral_s=c.cooling_integral_s, decay_s=c.decay_s)),
        moisture=loops.bind(
            LoopConfig(gain=m.gain_kg_per_h_per_g_per_kg, integral_s=m.integral_s, decay_s=m.decay_s)
        ),
        mass_kWs_per_K=1000.0 * mass_MJ_per_K,
        dead_zone_kW=c.dead_zone_kW,
        fog_heat_band_K=c.fog_heat_band_K,
        vent_kg_per_s_heated=c.vent_kg_per_s_heated,
        sag_K=c.sag_K,
        sag_single_K=c.sag_single_K,
        moisture_gain=moisture.gain_kg_per_h_per_g_per_kg,
        vent_gain_ratio=moisture.vent_gain_ratio,
        rh_full_gain_pct=moisture.full_gain_below_rh_pct,
        gain_ratio_min=moisture.gain_ratio_min,
        fan=actuators.fan,
        fog_kW_per_kg_h=fog_heat_kW_per_kg_h(actuators.fog),
        heat_kg_per_kWh=actuators.heat.kg_per_kWh,
        steam_fade_g_per_kg=actuators.heat.fade_g_per_kg if actuators.heat.kind == "steam" else 0.0,
    )


def initial(plan: AllocationPlan) -> AllocationState:  # noqa: ARG001
    """Both integrators at nothing."""
    return AllocationState(LoopState(), LoopState())


def allocate(
    plan: AllocationPlan, state: AllocationState, targets: Targets, limits: Limits, climate: Climate,
    product: Product, achieved: Achieved, dt_s: float,  # noqa: ARG001
) -> tuple[AllocationState, Demands]:
    """Heat (kW), vent (kg/s), fog (kg/h) and fan speed of one scan, within what can be had now."""
    why, floor, ceiling = limits.why, targets.floor_degC, targets.ceiling_degC
    t, w_g_per_kg = climate.temperature_degC, 1000.0 * climate.humidity_ratio
    fan_pct, flow, fan_kW = circulation(plan.fan, targets.fan_pct, climate)
    heat_kW_max, why_heat = heat_cap(targets, limits, climate, achieved, flow, fan_kW, plan.steam_fade_g_per_kg)
    vent_max = achieved.vent_kg_per_s_max if targets.vent else 0.0
    moisture, fog, vent, drier, cooler, carried_kW = state.moisture, 0.0, 0.0, 0.0, 0.0, 0.0
    too_moist = w_g_per_kg > 1000.0 * limits.vent_above
    # What had to cool a single setpoint goes on a little below it: else the damper opens and shuts once a minute.
    cooled = ceiling == floor and state.temperature.integral < 0.0
    cools = t > (ceiling - plan.sag_single_K if cooled else ceiling)
    if targets.vent and (too_moist or cools or moisture.integral < 0.0):  # else there is nothing to vent for
        drier, cooler = outdoors(climate, w_g_per_kg)
    # 1 while fog and fading heat count below the floor, falling to 0 at the edge of the band above it.
    band_K = plan.fog_heat_band_K
    near = 2.0 * (floor + band_K - t) / band_K if band_K > 0.0 else float(t < floor)
    near = 0.0 if not near > 0.0 else 1.0 if near > 1.0 else near
    if climate.moisture_ok:
        vent_kg_h_per_kg_s = 3.6 * drier
        moisture, water, fog_max = _water(
            plan, moisture, w_g_per_kg, targets, limits, climate, achieved, flow, near * heat_kW_max + fan_kW,
            -vent_max * vent_kg_h_per_kg_s, dt_s,
        )  # fmt: skip
        if water > 0.0:
            fog = water
            if fog >= fog_max and fog_max < achieved.fog_kg_per_h_max:
                why = (*why, EVAPORATION)
        elif water < 0.0:
            vent = -water / vent_kg_h_per_kg_s
            carried_kW = min(-water, -moisture.integral) / vent_kg_h_per_kg_s * cooler  # what lasts of it
            if targets.sags:
                heat_kW_max *= _heat_share(plan, vent, floor - t, ceiling > floor)
                why_heat = FLOOR_SAGS if heat_kW_max == 0.0 else why_heat
            why = why if targets.rh_vent_above_pct else (*why, VENT_DEW + climate.surface)
        elif drier == 0.0 and too_moist and targets.vent:
            why = (*why, VENT_USELESS)
    else:
        why = (*why, NO_MOISTURE)
    temperature, need, known_kW = state.temperature, 0.0, near * plan.fog_kW_per_kg_h * fog - fan_kW
    if climate.temperature_ok:
        temperature, need = _need(
            plan, temperature, t, targets, limits, known_kW, vent_max * cooler if cools else 0.0,
            carried_kW, heat_kW_max, near, dt_s,
        )  # fmt: skip
        if need > 0.0:
            if need >= heat_kW_max and why_heat:
                why = (*why, why_heat)
        elif heat_kW_max == 0.0 and why_heat is FLOOR_SAGS and t < floor:
            why = (*why, FLOOR_SAGS)
        elif cools and need < -plan.dead_zone_kW and cooler > 0.0:
            vent = min(max(vent, (-need - plan.dead_zone_kW) / cooler), vent_max)
    else:
        why = (*why, NO_TEMPERATURE)
    return _result(state, temperature, moisture, need, vent, fog, fan_pct, cooler, vent_max, why, targets)


def _water(
    plan: AllocationPlan, state: LoopState, w_g_per_kg: float, targets: Targets, limits: Limits, climate: Climate,
    achieved: Achieved, flow_kg_per_s: float, heat_kW: float, lo: float, dt_s: float,
) -> tuple[LoopState, float, float]:
    """Water to add (kg/h, positive: fog) or to carry out (negative: vent, not below lo); the most fog there can be.

    heat_kW: what may evaporate fog, beside the air passing by at flow_kg_per_s.
    """
    above = 1000.0 * limits.vent_above - w_g_per_kg
    integral, known = state.integral, -plan.heat_kg_per_kWh * achieved.heat_kW  # what steam brings need not come as fog
    if above < 0.0:
        if integral > 0.0:
            state = NOTHING_LEARNT  # what was learnt about fogging says nothing about venting
        gain = plan.moisture_gain * plan.vent_gain_ratio
        return *loops.step(plan.moisture, state, above, known, lo, 0.0, dt_s, gain), 0.0
    below = 1000.0 * limits.fog_below - w_g_per_kg
    fog_max = 0.0
    if targets.fog and (below > 0.0 or integral > 0.0):
        steam = plan.fog_kW_per_kg_h < 0.0
        fog_max = fog_cap(steam, w_g_per_kg, climate.rh_pct, flow_kg_per_s, heat_kW, achieved.fog_kg_per_h_max)
    if below > 0.0:
        # Near saturation a gram more of fog does less: it evaporates slower, and part of it falls out.
        gain = plan.moisture_gain
        ratio = (100.0 - climate.rh_pct) / (100.0 - plan.rh_full_gain_pct)
        if ratio < 1.0:
            gain *= ratio if ratio > plan.gain_ratio_min else plan.gain_ratio_min
        if integral < 0.0:
            state = NOTHING_LEARNT  # and the other way round
        return *loops.step(plan.moisture, state, below, known, 0.0, fog_max, dt_s, gain), fog_max
    if integral == 0.0 and state.output == 0.0:
        return state, 0.0, fog_max
    return *loops.step(plan.moisture, state, 0.0, 0.0, lo, fog_max, dt_s), fog_max


def _heat_share(plan: AllocationPlan, vent_kg_per_s: float, below_K: float, is_band: bool) -> float:
    """Share of the heat that may work against this vent, with the air so far below the floor."""
    share = 1.0 - vent_kg_per_s / plan.vent_kg_per_s_heated
    back = 2.0 * (below_K - (plan.sag_K if is_band else plan.sag_single_K))
    if back > 1.0:
        back = 1.0
    if back > share:
        share = back
    return share if share > 0.0 else 0.0


def _need(
    plan: AllocationPlan, state: LoopState, t: float, targets: Targets, limits: Limits, known_kW: float,
    cooling_kW_max: float, carried_kW: float, heat_kW_max: float, near: float, dt_s: float,
) -> tuple[LoopState, float]:
    """Heat to add (positive) or to carry out (negative), kW. known_kW: fog and fan, fed forward.

    carried_kW: what goes out by the vent that is open for moisture. From no heat to so much cooling the output moves
    nothing, so it does not rest there: above the ceiling it stands at the far edge, below a single setpoint at the near
    one. It would take half an hour and more to learn its way across, and all the while the air would go on rising.
    """
    floor, ceiling, rate_K_per_h = targets.floor_degC, targets.ceiling_degC, limits.rate_K_per_h
    if not (targets.heat if rate_K_per_h > 0.0 else t > ceiling):
        rate_K_per_h = 0.0
    if t < floor:
        error = floor - t
    elif t > ceiling:
        error = ceiling - t
        if ceiling > floor and state.integral > 0.0:
            state = NOTHING_LEARNT  # what was learnt about heating says nothing about venting
    elif rate_K_per_h > 0.0 and near > 0.0:
        # A ramp follows its setpoint from both sides: else hydration could never take over from the feed-forward.
        error = floor - t
    else:
        error = 0.0
    if ceiling > floor:
        heat_kW_max *= near  # a float is heated below its floor only; what was needed there may fade just above it
    feedforward = known_kW + plan.mass_kWs_per_K * rate_K_per_h / 3600.0
    # What cannot be carried out must not be learnt either.
    lo = -(cooling_kW_max + plan.dead_zone_kW) if cooling_kW_max > 0.0 else min(0.0, known_kW)
    loop = plan.cooling if cooling_kW_max > 0.0 and ceiling == floor and state.integral < 0.0 else plan.temperature
    state, need = loops.step(loop, state, error, feedforward, lo, heat_kW_max, dt_s)
    if carried_kW > 0.0 and (t > ceiling or (t < floor and ceiling == floor and state.integral < 0.0)):
        free = plan.temperature.gain * error + state.integral + feedforward
        if -carried_kW < free < 0.0:
            need = -carried_kW if t > ceiling else min(0.0, free - state.integral)
            state = LoopState(state.integral + need - free, need)
    return state, need


def _result(
    state: AllocationState,
    temperature: LoopState,
    moisture: LoopState,
    need_kW: float,
    vent: float,
    fog: float,
    fan_pct: float,
    cooler: float,
    vent_max: float,
    why: tuple[str, ...],
    targets: Targets,
) -> tuple[AllocationState, Demands]:
    heat, fighting = 0.0, 0.0
    if need_kW > 0.0:
        heat = need_kW
        if vent > 0.0 and not targets.rh_vent_above_pct:  # to dry is to heat what is vented
            fighting = vent * cooler
            if heat < fighting:
                fighting = heat
    if vent > 0.0 and vent >= vent_max:
        why = (*why, VENT_FULL)
    if moisture is not state.moisture or temperature is not state.temperature:
        state = _state(temperature, moisture)
    return state, _demands(heat, vent, fog, fan_pct, fighting, why)
