"""Looking ahead: can heater, vent and fog follow the recipe, what stays dry, and when is it ready?

The recipe's own sequence, the constraints and the one allocation run against the reduced chamber in steps of a
minute or two. So what is forecast is what this controller would do, holdback and dew limit included; only the chamber
is an estimate. How sure the ready time is comes from the same run with one doubtful number changed at a time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import sqrt

from controller.core.alarms.alarms import AlarmsConfig
from controller.core.climate.climate import Climate, ClimateConfig
from controller.core.equipment.actuators import Achieved, ActuationConfig
from controller.core.frames import Command
from controller.core.loops import allocation, constraints
from controller.core.loops.allocation import MoistureConfig, TemperatureConfig
from controller.core.loops.capacity import FOG_kW_PER_KG_H, fog_heat_kW_per_kg_h
from controller.core.loops.constraints import ConstraintsConfig
from controller.core.outlook import reduced
from controller.core.outlook.diary import HOUR_S, Diary, Forecast, PhaseForecast, Row
from controller.core.outlook.reduced import ForecastConfig, ReducedPlan, ReducedState
from controller.core.product.mix import Mix
from controller.core.product.product import Product, ProductConfig
from controller.core.product.strength import strength_MPa
from controller.core.sequence import sequence
from controller.core.sequence.recipe import ChamberLimits, Recipe
from controller.core.sequence.sequence import SequenceConfig

__all__ = ["Case", "Forecast", "PhaseForecast", "Room", "Row", "forecast"]

STEP_S = 60.0
COARSE_S = 120.0  # for the variants
HOURS_MAX = 72.0
START: tuple[Command, ...] = (Command("forecast", "start", "forecast"),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """The sections of a chamber file that a forecast needs. boards_estimated: some loaded bay has no board probe."""

    limits: ChamberLimits
    climate: ClimateConfig
    product: ProductConfig
    temperature: TemperatureConfig
    moisture: MoistureConfig
    constraints: ConstraintsConfig
    actuators: ActuationConfig
    sequence: SequenceConfig
    alarms: AlarmsConfig
    forecast: ForecastConfig
    boards_estimated: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What goes in: tonnes of a mix at a temperature and age, and outdoor air (degC, %RH) an hour, one = constant."""

    load_t: float
    mix_degC: float
    outdoor: Sequence[tuple[float, float]]
    age_h: float = 0.0


def forecast(
    room: Room, recipe: Recipe, mix: Mix, case: Case, *, hours_max: float = HOURS_MAX, interval: bool = True
) -> Forecast:
    """The cycle as it will probably go. recipe: without `problems` in this chamber. interval: how sure, seven runs."""
    best = _run(room, recipe, mix, case, hours_max, STEP_S)
    if not interval or best.ready_h != best.ready_h:
        return best
    middle = _run(room, recipe, mix, case, hours_max, COARSE_S).ready_h
    early = late = 0.0
    for one in _variants(room.forecast, mix, case):
        other_mix, other_case, factor = one
        ready = _run(room, recipe, other_mix, other_case, hours_max, COARSE_S, factor).ready_h
        moved = (ready if ready == ready else hours_max) - middle
        early, late = early + min(moved, 0.0) ** 2, late + max(moved, 0.0) ** 2
    return replace(best, ready_low_h=best.ready_h - sqrt(early), ready_high_h=best.ready_h + sqrt(late))


def _variants(config: ForecastConfig, mix: Mix, case: Case) -> Iterator[tuple[Mix, Case, float]]:
    """One doubtful number at a time, at either end: they are independent, so their effects add as squares."""
    for apart in (-config.mix_K, config.mix_K):
        yield mix, replace(case, mix_degC=case.mix_degC + apart), 1.0
    for energy in (config.activation_low, config.activation_high):
        yield replace(mix, activation_energy_kJ_per_mol=energy), case, 1.0
    for share in (-config.heat_share, config.heat_share):
        yield mix, case, 1.0 + share


def _run(
    room: Room, recipe: Recipe, mix: Mix, case: Case, hours_max: float, dt_s: float, heat_factor: float = 1.0
) -> Forecast:
    """One cycle against the reduced chamber, to the recipe's end or hours_max."""
    actuators, mean = room.actuators, dt_s / HOUR_S

    def holding(load_t: float) -> ReducedPlan:
        return reduced.bind(
            room.forecast, room.climate, room.product, room.temperature, actuators, mix, load_t=load_t,
            outdoor=case.outdoor, boards_estimated=room.boards_estimated, heat_factor=heat_factor,
        )  # fmt: skip

    chamber, full = holding(case.load_t), True
    plan = sequence.bind(room.sequence, recipe, room.limits, actuators.fan.flow_kg_per_s_at_full)
    narrow = constraints.bind(room.constraints, actuators.heat.capacity_kW)
    loops = allocation.bind(room.temperature, room.moisture, actuators, load_t=case.load_t)
    state, order = reduced.initial(chamber, case.mix_degC, case.age_h), sequence.initial(plan)
    loop, fan = allocation.initial(loops), actuators.fan
    steam_kW_per_kg_h = FOG_kW_PER_KG_H - fog_heat_kW_per_kg_h(actuators.fog)
    diary = Diary(plan, room.product.ready_age_h, case.age_h, dt_s)
    flow = fan_kW = heat = fought = heated = 0.0
    fighting, commands = False, START
    for _ in range(round(hours_max * HOUR_S / dt_s)):
        air = reduced.observe(chamber, state, flow, fan_kW)
        product = _product_of(chamber, state, mix, air)
        before = order
        order, targets, _events = sequence.advance(plan, order, commands, air, product, "none", dt_s, fighting)
        commands = ()
        if full and targets.empty:
            chamber, full = holding(0.0), False
        limits = constraints.narrow(narrow, targets, air, product)
        can = _achieved(actuators, air.temperature_degC, heat)
        loop, asked = allocation.allocate(loops, loop, targets, limits, air, product, can, dt_s)
        speed = 0.01 * asked.fan_pct
        flow, fan_kW = speed * fan.flow_kg_per_s_at_full, speed**3 * fan.power_kW_at_full
        heat = asked.heat_kW if asked.heat_kW >= actuators.heat.kW_min * (0.5 if heat else 1.0) else 0.0
        vent = asked.vent_kg_per_s if asked.vent_kg_per_s >= actuators.vent.kg_per_s_min else 0.0
        if order.state == "complete":
            diary.end(product)
            break
        diary.note(before, order, targets, air, product, asked, fighting)
        water = asked.fog_kg_per_h + heat * actuators.heat.kg_per_kWh
        bought = heat + asked.fog_kg_per_h * steam_kW_per_kg_h  # steam brings what droplets would take from the air
        state = reduced.step(chamber, state, bought, fan_kW, water, vent, flow, dt_s)
        diary.spent(heat, fan_kW, asked.fog_kg_per_h, vent, asked.fighting_kW, state.drying_kg_per_m2h)
        heated += (heat - heated) * mean / (1.0 + mean)
        fought += (asked.fighting_kW - fought) * mean / (1.0 + mean)
        fighting = fought > room.alarms.fighting_share_max * heated and fought > room.alarms.fighting_kW_min
    return diary.forecast(finished=order.state == "complete")


def _achieved(actuators: ActuationConfig, air_degC: float, heat_kW: float) -> Achieved:
    """What the actuators can give to air of this temperature, all of them healthy."""
    fog = sum(bank.kg_per_h for bank in actuators.fog.bank)
    return Achieved(actuators.heat.capacity_at_kW(air_degC), fog, actuators.vent.kg_per_s_max, 0.0, heat_kW)


def _product_of(plan: ReducedPlan, state: ReducedState, mix: Mix, air: Climate) -> Product:
    """The product as the dummies would show it: one core temperature and one age everywhere."""
    core, age = state.core_degC, state.age_h
    surface = core + plan.product.surface_share * (air.temperature_degC - core)
    ready = float(age >= plan.product.ready_age_h)
    strength = strength_MPa(mix, age)
    return Product(
        core, core, surface, state.drying_kg_per_m2h, "neutral", age, age, age, strength, ready, ok=True
    )
