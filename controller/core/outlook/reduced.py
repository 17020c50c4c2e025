"""The reduced chamber: one air node, boards, floor, product in two layers; what the controller itself expects of it.

A lumped model for forecasts, good for hours and tenths of a kelvin of mean values. Air is solved implicitly, so that
steps of a minute or two are stable although air alone would follow in seconds. What varies over the height is one
number: how far the lowest air is from the mean, a share of the difference between supply and return.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import exp
from typing import Annotated

from annotated_types import Ge, Gt, Le

from controller.core.climate.climate import Climate, ClimateConfig
from controller.core.climate.moistair import (
    humidity_ratio,
    saturation_pressure_Pa,
    saturation_temperature_degC,
    vapour_pressure_of_ratio_Pa,
    vapour_pressure_Pa,
)
from controller.core.equipment.actuators import ActuationConfig
from controller.core.loops.allocation import TemperatureConfig
from controller.core.product.maturity import Rate, arrhenius_rate
from controller.core.product.mix import Mix
from controller.core.product.product import ProductConfig
from controller.core.quick import maker

AIR_J, VAPOUR_J = 1006.0, 1860.0  # specific heats, per kg and kelvin (ASHRAE Handbook Fundamentals 2017, chapter 1)
LATENT_J_PER_KG = 2.426e6  # at 32 degC
LEWIS = 0.91  # (thermal over mass diffusivity of moist air, 0.87) to the power 2/3: h / (h_m c_p)
FILM_LEAST = 0.25  # with the fans nearly off, share of the film at nominal flow
YOUNGEST_H = 0.5  # below this equivalent age the exponential curve of hydration has no meaning (0/0)
LAG_POWER = 0.6  # of boards behind the air, against the flow; as in the estimate of unwatched boards
LEAST_T = 0.01  # an empty chamber is counted with ten kilograms of product


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastConfig:
    """[forecast]: what the controller takes this chamber for when it looks ahead. Estimates of the builder, then fits.

    envelope_*: walls, roof and doors. floor_*: inside face, loss to the ground, heat stored in the slab's upper layer
    and the resistance down to its middle. frame_W_per_m2K: door frames, counted only where nothing heats them.
    leak_kg_per_s: outdoor air that comes in by itself. air_kg: dry air in the chamber.
    boards_m2_per_t: boards and racks, both faces; with their heat and their lag it gives the film coefficient that
    product and walls have too. product_m2_per_t: free faces. skin_share: of the product's mass, coupled to its core by
    skin_to_core_W_per_m2K.
    boards_share: of [temperature] fixed_MJ_per_K, what comes in with the product; the rest is racks.
    bottom_share: how far the lowest air is from the mean, as a share of supply minus return. scatter_K: how far a
    probe may read from the truth after equalisation. start_rh_pct: air when control begins.
    bay_exchange: air that a bay exchanges with the others, over what passes through it; it softens what cold boards do.
    uneven_K: how far the coldest place is from the mean in a steady chamber without newcomers.
    mix_K, heat_share, activation_low, activation_high: how uncertain mix temperature, heat of hydration and
    activation energy (kJ/mol) are; the interval of the ready time comes from these.
    """

    envelope_m2: Annotated[float, Gt(0), Le(20000)] = 388.0
    envelope_W_per_m2K: Annotated[float, Gt(0), Le(10)] = 0.11
    floor_m2: Annotated[float, Ge(0), Le(10000)] = 132.6
    floor_W_per_m2K: Annotated[float, Ge(0), Le(10)] = 0.2
    floor_kJ_per_m2K: Annotated[float, Gt(0), Le(2000)] = 310.0
    floor_m2K_per_W: Annotated[float, Ge(0), Le(5)] = 0.05
    ground_degC: Annotated[float, Ge(-20), Le(40)] = 10.0
    frame_W_per_m2K: Annotated[float, Ge(0), Le(10)] = 0.5
    leak_kg_per_s: Annotated[float, Ge(0), Le(20)] = 0.03
    air_kg: Annotated[float, Gt(0), Le(50000)] = 734.0
    boards_m2_per_t: Annotated[float, Gt(0), Le(100)] = 13.8
    product_m2_per_t: Annotated[float, Gt(0), Le(100)] = 13.5
    skin_share: Annotated[float, Gt(0), Le(0.9)] = 0.35
    skin_to_core_W_per_m2K: Annotated[float, Gt(0), Le(500)] = 64.0
    boards_share: Annotated[float, Ge(0), Le(1)] = 0.85
    bottom_share: Annotated[float, Ge(0), Le(0.5)] = 0.4
    scatter_K: Annotated[float, Ge(0), Le(1)] = 0.05
    start_rh_pct: Annotated[float, Ge(20), Le(100)] = 92.0
    bay_exchange: Annotated[float, Ge(0), Le(20)] = 0.3
    uneven_K: Annotated[float, Ge(0), Le(1)] = 0.4
    mix_K: Annotated[float, Ge(0), Le(5)] = 1.0
    heat_share: Annotated[float, Ge(0), Le(0.5)] = 0.15
    activation_low: Annotated[float, Ge(20), Le(80)] = 38.0
    activation_high: Annotated[float, Ge(20), Le(80)] = 45.0


@dataclass(frozen=True, slots=True)
class ReducedPlan:
    """A chamber with its load in watts and joules per kelvin. reserve_K: what is taken off the coldest board."""

    config: ForecastConfig
    climate: ClimateConfig
    product: ProductConfig
    pressure_Pa: float
    load_t: float
    product_m2: float
    skin_J: float
    core_J: float
    boards_J: float
    boards_lag_s: float
    film_W_per_m2K: float
    frames_watched: bool
    reserve_K: float
    cement_kg: float
    heat_J_per_kg: float
    heat_tau_h: float
    heat_shape: float
    rate: Rate
    outdoors: Callable[[float], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class ReducedState:
    """Temperatures in degC. low_degC: the coldest board, behind the lowest air. lift_K: supply minus return."""

    time_s: float
    air_degC: float
    humidity_ratio: float
    board_degC: float
    low_degC: float
    floor_degC: float
    skin_degC: float
    core_degC: float
    age_h: float
    lift_K: float
    drying_kg_per_m2h: float


_state = maker(ReducedState)
_climate = maker(Climate)


def bind(
    config: ForecastConfig,
    climate: ClimateConfig,
    product: ProductConfig,
    thermal: TemperatureConfig,
    actuators: ActuationConfig,
    mix: Mix,
    *,
    load_t: float,
    outdoor: Sequence[tuple[float, float]],
    boards_estimated: bool = True,
    heat_factor: float = 1.0,
) -> ReducedPlan:
    """A chamber with load_t tonnes of a mix in it. outdoor: (degC, %RH) an hour, one alone is constant.

    boards_estimated: some loaded bay has no board probe, so the reserve counts. heat_factor: on hydration.
    """
    load = max(load_t, LEAST_T)
    product_J = 1e6 * thermal.product_MJ_per_K_per_t * load
    boards_J = 1e6 * thermal.fixed_MJ_per_K * (1.0 - config.boards_share * (1.0 - load / thermal.nominal_t))
    return ReducedPlan(
        config=config,
        climate=climate,
        product=product,
        pressure_Pa=climate.pressure_Pa,
        load_t=load,
        product_m2=config.product_m2_per_t * load,
        skin_J=config.skin_share * product_J,
        core_J=(1.0 - config.skin_share) * product_J,
        boards_J=boards_J,
        boards_lag_s=3600.0 * climate.estimated_lag_h,
        film_W_per_m2K=1e6 * thermal.fixed_MJ_per_K
        / (3600.0 * climate.estimated_lag_h * config.boards_m2_per_t * thermal.nominal_t),
        frames_watched=actuators.frame_heating is None,
        reserve_K=max(climate.estimated_reserve_K if boards_estimated else 0.0, config.scatter_K),
        cement_kg=1000.0 * load * mix.cement_kg_per_m3 / mix.density_kg_per_m3,
        heat_J_per_kg=heat_factor * mix.heat_J_per_kg,
        heat_tau_h=mix.heat_tau_h,
        heat_shape=mix.heat_shape,
        rate=arrhenius_rate(mix.activation_energy_kJ_per_mol, mix.reference_degC),
        outdoors=_outdoors(outdoor, climate.pressure_Pa),
    )


def initial(plan: ReducedPlan, mix_degC: float, age_h: float = 0.0) -> ReducedState:
    """A chamber just filled: everything at the temperature of the mix."""
    vapour_Pa = vapour_pressure_Pa(mix_degC, plan.config.start_rh_pct)
    ratio = humidity_ratio(vapour_Pa, plan.pressure_Pa)
    return ReducedState(
        0.0, mix_degC, ratio, mix_degC, mix_degC, mix_degC, mix_degC, mix_degC, age_h, 0.0, 0.0
    )


def step(
    plan: ReducedPlan,
    state: ReducedState,
    heat_kW: float,
    fan_kW: float,
    fog_kg_per_h: float,
    vent_kg_per_s: float,
    flow_kg_per_s: float,
    dt_s: float,
) -> ReducedState:
    """The chamber dt_s later under constant outputs; dt_s at most 120."""
    config, t, ratio = plan.config, state.air_degC, state.humidity_ratio
    film, lag_s = film_and_lag(plan, flow_kg_per_s)
    outdoor_degC, outdoor_ratio = plan.outdoors(state.time_s)
    to_product, to_boards = film * plan.product_m2, plan.boards_J / lag_s
    to_floor = config.floor_m2 / (1.0 / film + config.floor_m2K_per_W) if config.floor_m2 else 0.0
    fresh = vent_kg_per_s + config.leak_kg_per_s
    out = config.envelope_m2 * config.envelope_W_per_m2K + fresh * AIR_J
    cp = AIR_J + VAPOUR_J * ratio
    given_W = 1000.0 * (heat_kW + fan_kW) - fog_kg_per_h / 3600.0 * LATENT_J_PER_KG
    held = config.air_kg * cp / dt_s
    air = (
        held * t + to_product * state.skin_degC + to_boards * state.board_degC + to_floor * state.floor_degC
        + out * outdoor_degC + given_W
    ) / (held + to_product + to_boards + to_floor + out)  # fmt: skip
    ratio, drying, latent_W, wet_W = _moisture(plan, state, film, fog_kg_per_h, fresh, outdoor_ratio, to_boards, dt_s)
    age, heat_W = _hydration(plan, state, dt_s)
    inward = config.skin_to_core_W_per_m2K * plan.product_m2 * (state.skin_degC - state.core_degC)
    skin = to_product * (air - state.skin_degC) + config.skin_share * heat_W - inward - latent_W
    carried_W = given_W + vent_kg_per_s * AIR_J * (outdoor_degC - t)
    lift = carried_W / (max(flow_kg_per_s, 0.5) * cp)
    follow = 1.0 - exp(-dt_s / lag_s)
    ground = config.floor_m2 * config.floor_W_per_m2K * (config.ground_degC - state.floor_degC)
    floor_J = 1000.0 * config.floor_kJ_per_m2K * config.floor_m2
    return _state(
        state.time_s + dt_s,
        air,
        ratio,
        state.board_degC + follow * (air - state.board_degC) + wet_W * dt_s / plan.boards_J,
        state.low_degC + follow * (air - config.bottom_share * lift - state.low_degC) + wet_W * dt_s / plan.boards_J,
        state.floor_degC + (to_floor * (air - state.floor_degC) + ground) * dt_s / floor_J if floor_J else air,
        state.skin_degC + skin * dt_s / plan.skin_J,
        state.core_degC + (inward + (1.0 - config.skin_share) * heat_W) * dt_s / plan.core_J,
        age,
        lift,
        drying,
    )


def observe(plan: ReducedPlan, state: ReducedState, flow_kg_per_s: float, fan_kW: float) -> Climate:
    """The chamber as the probes would show it: with what they scatter, and what the reserve takes off."""
    config, air = plan.config, state.air_degC
    film, _ = film_and_lag(plan, flow_kg_per_s)
    outdoor_degC, outdoor_ratio = plan.outdoors(state.time_s)
    apart = 0.8 * config.bottom_share * abs(state.lift_K) + config.scatter_K
    ceiling = air + config.bottom_share * state.lift_K - config.envelope_W_per_m2K * (air - outdoor_degC) / film
    surface, name = state.low_degC - plan.reserve_K, "coldest board"
    if ceiling - config.scatter_K < surface:
        surface, name = ceiling - config.scatter_K, "ceiling"
    if plan.frames_watched:
        frame = air - config.frame_W_per_m2K * (air - outdoor_degC) / film - config.scatter_K
        if frame < surface:
            surface, name = frame, "door frame"
    vapour_Pa = vapour_pressure_of_ratio_Pa(state.humidity_ratio, plan.pressure_Pa)
    dew = saturation_temperature_degC(vapour_Pa)
    rh = min(100.0, 100.0 * vapour_Pa / saturation_pressure_Pa(air))
    back = air - 0.5 * state.lift_K
    return _climate(
        air, air - apart, air + apart, 2.0 * apart, dew, state.humidity_ratio, rh, surface, name,
        surface - plan.climate.margin_K, surface - dew, back + state.lift_K, back, air, outdoor_degC, outdoor_ratio,
        flow_kg_per_s, fan_kW, 0.0, 0.0, True, True, True,
    )  # fmt: skip


def film_and_lag(plan: ReducedPlan, flow_kg_per_s: float) -> tuple[float, float]:
    """Film coefficient (W/m2K) at product and walls, and lag (s) of boards, at this flow."""
    share = max(flow_kg_per_s, 0.01) / plan.climate.lag_flow_kg_per_s
    faster = max(share**LAG_POWER, FILM_LEAST)
    return plan.film_W_per_m2K * faster, plan.boards_lag_s / faster


def _moisture(
    plan: ReducedPlan,
    state: ReducedState,
    film: float,
    fog_kg_per_h: float,
    fresh_kg_per_s: float,
    outdoor_ratio: float,
    to_boards: float,
    dt_s: float,
) -> tuple[float, float, float, float]:
    """New humidity ratio, drying (kg/m2h), heat that leaves the product's skin and that reaches boards with water (W).

    Product gives off water over its wetted fraction and takes it up everywhere; boards colder than the dew point take
    up what comes to them.
    """
    config, product, ratio = plan.config, plan.product, state.humidity_ratio
    per_m2 = film / (LEWIS * (AIR_J + VAPOUR_J * ratio))  # kg/m2s per kg/kg
    at_skin = product.water_activity * _saturation(state.skin_degC, plan.pressure_Pa)
    share = product.wetted_fraction if at_skin > ratio else 1.0
    exchange = per_m2 * plan.product_m2 * share
    most = _saturation(state.low_degC, plan.pressure_Pa)
    boards = per_m2 * to_boards / film if ratio > most else 0.0
    held = config.air_kg / dt_s
    new = (
        held * ratio + exchange * at_skin + boards * most + fog_kg_per_h / 3600.0 + fresh_kg_per_s * outdoor_ratio
    ) / (held + exchange + boards + fresh_kg_per_s)
    new = min(new, _saturation(state.air_degC, plan.pressure_Pa))
    drying = per_m2 * share * (at_skin - new)
    return new, 3600.0 * drying, drying * plan.product_m2 * LATENT_J_PER_KG, boards * (new - most) * LATENT_J_PER_KG


def _hydration(plan: ReducedPlan, state: ReducedState, dt_s: float) -> tuple[float, float]:
    """New equivalent age (h) and heat of all cement (W): Q d/dt exp(-(tau/te)^b), te moving at the Arrhenius rate."""
    rate = plan.rate(0.5 * (state.skin_degC + state.core_degC))
    age = state.age_h + rate * dt_s / 3600.0
    middle = 0.5 * (state.age_h + age)
    if middle < YOUNGEST_H:
        return age, 0.0
    x: float = (plan.heat_tau_h / middle) ** plan.heat_shape
    per_h = exp(-x) * x * plan.heat_shape / middle * rate
    return age, plan.cement_kg * plan.heat_J_per_kg * per_h / 3600.0


def _saturation(temperature_degC: float, pressure_Pa: float) -> float:
    return humidity_ratio(saturation_pressure_Pa(temperature_degC), pressure_Pa)


def _outdoors(table: Sequence[tuple[float, float]], pressure_Pa: float) -> Callable[[float], tuple[float, float]]:
    """Outdoor (degC, kg/kg) against seconds from the start: straight lines between hours, begun again at the end."""
    rows = [(t, humidity_ratio(vapour_pressure_Pa(t, rh), pressure_Pa)) for t, rh in table]
    count = len(rows)
    if count == 1:
        only = rows[0]
        return lambda _time_s: only

    def at(time_s: float) -> tuple[float, float]:
        hour, rest = divmod(time_s / 3600.0, 1.0)
        before, after = rows[int(hour) % count], rows[(int(hour) + 1) % count]
        return before[0] + rest * (after[0] - before[0]), before[1] + rest * (after[1] - before[1])

    return at
