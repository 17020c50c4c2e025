"""The one place that turns two demands into heat, vent and fog, with dead zones.

Temperature is a band: need_kW = pi(error) + ramp feed-forward + heat of evaporating fog - fan heat, where error is
floor - T below the floor, ceiling - T above the ceiling, else zero. Need above zero is heat; need below the dead zone,
with the air above the ceiling, is vent. Moisture is a band too: fog below it, vent above it, nothing between. There
is one integrator per quantity, never two around one setpoint: two of them heat and vent against each other for ever.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Ge, Gt, Le

from controller.core import loops
from controller.core.actuators import Achieved, ActuationConfig, FanConfig
from controller.core.capacity import FOG_kW_PER_KG_H, circulation, evaporation_kg_per_h, heat_cap, outdoors
from controller.core.climate import Climate
from controller.core.constraints import Limits
from controller.core.loops import Loop, LoopConfig, LoopState
from controller.core.product import Product
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

    dead_zone_kW: no vent for temperature before this much cooling is needed.
    fog_heat_band_K: fog's evaporation heat is fed forward only while the air is below the floor plus this.
    vent_kg_per_s_heated: while the vent carries moisture out, heat fades, and from this vent on there is none...
    sag_K, sag_single_K: ...until the air has sagged so far below the floor of a band, or below a single setpoint; then
    it comes back over half a kelvin.
    product_MJ_per_K_per_t, fixed_MJ_per_K: thermal mass of the product, and of boards and racks.
    """

    gain_kW_per_K: Annotated[float, Gt(0), Le(500)] = 20.0
    integral_s: Annotated[float, Ge(60), Le(36000)] = 2400.0
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


@dataclass(frozen=True, slots=True)
class AllocationPlan:
    """Both loops with gains for this load, and what the actuators of this chamber are.

    mass_kWs_per_K: thermal mass that a ramp has to move.
    """

    temperature: Loop
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


def bind(
    temperature: TemperatureConfig, moisture: MoistureConfig, actuators: ActuationConfig, *, load_t: float
) -> AllocationPlan:
    """Schedules the heat gain and the ramp feed-forward on the tonnes entered (0 = an empty chamber)."""
    c = temperature
    mass_MJ_per_K = c.product_MJ_per_K_per_t * load_t + c.fixed_MJ_per_K
    share = mass_MJ_per_K / (c.product_MJ_per_K_per_t * c.nominal_t + c.fixed_MJ_per_K)
    return AllocationPlan(
        temperature=loops.bind(
            LoopConfig(gain=c.gain_kW_per_K * share, integral_s=c.integral_s, decay_s=c.decay_s)
        ),
        moisture=loops.bind(
            LoopConfig(
                gain=moisture.gain_kg_per_h_per_g_per_kg,
                integral_s=moisture.integral_s,
                decay_s=moisture.decay_s,
            )
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
    )


def initial(plan: AllocationPlan) -> AllocationState:  # noqa: ARG001
    """Both integrators at nothing."""
    return AllocationState(LoopState(), LoopState())


def allocate(
    plan: AllocationPlan,
    state: AllocationState,
    targets: Targets,
    limits: Limits,
    climate: Climate,
    product: Product,  # noqa: ARG001
    achieved: Achieved,
    dt_s: float,
) -> tuple[AllocationState, Demands]:
    """Heat (kW), vent (kg/s), fog (kg/h) and fan speed of one scan, within what can be had now."""
    why = limits.why
    t, rh = climate.temperature_degC, climate.rh_pct
    w_g_per_kg = 1000.0 * climate.humidity_ratio
    fan_pct, flow, fan_kW = circulation(plan.fan, targets.fan_pct, climate)
    heat_kW_max, why_heat = heat_cap(targets, limits, climate, achieved, flow, fan_kW)
    vent_max = achieved.vent_kg_per_s_max if targets.vent else 0.0
    drier, cooler = outdoors(climate, w_g_per_kg)
    floor, ceiling = targets.floor_degC, targets.ceiling_degC
    # 1 while fog and fading heat count below the floor, falling to 0 at the edge of the band above it.
    band_K = plan.fog_heat_band_K
    near = 2.0 * (floor + band_K - t) / band_K if band_K > 0.0 else float(t < floor)
    near = 0.0 if not near > 0.0 else min(near, 1.0)

    moisture, fog, vent = state.moisture, 0.0, 0.0
    if climate.moisture_ok:
        fog_max = 0.0
        if targets.fog:
            can = evaporation_kg_per_h(w_g_per_kg, rh, flow, near * heat_kW_max + fan_kW)
            fog_max = min(achieved.fog_kg_per_h_max, can)
        vent_kg_h_per_kg_s = 3.6 * drier
        moisture, u = _moisture(
            plan, moisture, w_g_per_kg, rh, limits, -vent_max * vent_kg_h_per_kg_s, fog_max, dt_s
        )
        if u > 0.0:
            fog = u
            if u >= fog_max and fog_max < achieved.fog_kg_per_h_max:
                why = (*why, EVAPORATION)
        elif u < 0.0:
            vent = -u / vent_kg_h_per_kg_s
            if targets.sags:
                sag_K = floor - t - (plan.sag_K if ceiling > floor else plan.sag_single_K)
                heat_kW_max *= max(1.0 - vent / plan.vent_kg_per_s_heated, min(2.0 * sag_K, 1.0), 0.0)
                if heat_kW_max == 0.0:
                    why_heat = FLOOR_SAGS
            why = (*why, VENT_DEW + climate.surface)
        elif drier == 0.0 and targets.vent and w_g_per_kg > 1000.0 * limits.vent_above:
            why = (*why, VENT_USELESS)
    else:
        why = (*why, NO_MOISTURE)

    temperature, heat = state.temperature, 0.0
    rate = limits.rate_K_per_h if targets.heat and limits.rate_K_per_h > 0.0 else 0.0
    if climate.temperature_ok:
        temperature, need = _need(
            plan, temperature, t, targets, rate, near * FOG_kW_PER_KG_H * fog - fan_kW,
            vent_max * cooler, heat_kW_max, near, dt_s,
        )  # fmt: skip
        if need > 0.0:
            heat = need
            if need >= heat_kW_max and why_heat:
                why = (*why, why_heat)
        elif heat_kW_max == 0.0 and why_heat is FLOOR_SAGS and t < floor:
            why = (*why, FLOOR_SAGS)
        elif need < -plan.dead_zone_kW and t > ceiling and cooler > 0.0:
            cooling = (-need - plan.dead_zone_kW) / cooler
            vent = min(max(vent, cooling), vent_max)
    else:
        why = (*why, NO_TEMPERATURE)
    if vent > 0.0 and vent >= vent_max:
        why = (*why, VENT_FULL)
    if moisture is not state.moisture or temperature is not state.temperature:
        state = _state(temperature, moisture)
    fighting = min(heat, vent * cooler) if heat > 0.0 and vent > 0.0 else 0.0
    return state, _demands(heat, vent, fog, fan_pct, fighting, why)


def _moisture(
    plan: AllocationPlan,
    state: LoopState,
    w_g_per_kg: float,
    rh_pct: float,
    limits: Limits,
    lo: float,
    hi: float,
    dt_s: float,
) -> tuple[LoopState, float]:
    """Water to add (kg/h, positive: fog) or to carry out (negative: vent)."""
    below = 1000.0 * limits.fog_below - w_g_per_kg
    above = 1000.0 * limits.vent_above - w_g_per_kg
    gain = plan.moisture_gain
    if below > 0.0:
        # Near saturation a gram more of fog does less: it evaporates slower, and part of it falls out.
        ratio = (100.0 - rh_pct) / (100.0 - plan.rh_full_gain_pct)
        if ratio < 1.0:
            gain *= max(ratio, plan.gain_ratio_min)
        if state.integral < 0.0:
            state = LoopState()  # what was learnt about venting says nothing about fogging
        return loops.step(plan.moisture, state, below, 0.0, 0.0, hi, dt_s, gain)
    if above < 0.0:
        if state.integral > 0.0:
            state = LoopState()
        return loops.step(plan.moisture, state, above, 0.0, lo, 0.0, dt_s, gain * plan.vent_gain_ratio)
    return loops.step(plan.moisture, state, 0.0, 0.0, lo, hi, dt_s)


def _need(
    plan: AllocationPlan,
    state: LoopState,
    t: float,
    targets: Targets,
    rate_K_per_h: float,
    known_kW: float,
    cooling_kW_max: float,
    heat_kW_max: float,
    near: float,
    dt_s: float,
) -> tuple[LoopState, float]:
    """Heat to add (positive) or to carry out (negative), kW. known_kW: fog and fan, fed forward."""
    floor, ceiling = targets.floor_degC, targets.ceiling_degC
    if t < floor:
        error = floor - t
    elif t > ceiling:
        error = ceiling - t
        if ceiling > floor and state.integral > 0.0:
            state = LoopState()  # what was learnt about heating says nothing about venting
    elif rate_K_per_h > 0.0 and near > 0.0:
        # A ramp follows its setpoint from both sides: else hydration could never take over from the feed-forward.
        error = floor - t
    else:
        error = 0.0
    if ceiling > floor:
        heat_kW_max *= near  # a float is heated below its floor only; what was needed there may fade just above it
    feedforward = known_kW + plan.mass_kWs_per_K * rate_K_per_h / 3600.0
    # What cannot be carried out must not be learnt either; below the ceiling nothing is carried out.
    lo = -(cooling_kW_max + plan.dead_zone_kW) if cooling_kW_max > 0.0 and t > ceiling else min(0.0, known_kW)
    return loops.step(plan.temperature, state, error, feedforward, lo, heat_kW_max, dt_s)
