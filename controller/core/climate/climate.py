"""What the chamber is like now: mean, spread, dew point per pair, coldest watched surface, dew margin."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import exp, nan
from operator import mul

from controller.core.binding import Binder
from controller.core.climate import pairs
from controller.core.climate.moistair import RATIO, saturation_pressure_Pa, saturation_temperature_degC
from controller.core.climate.places import Picker, picker
from controller.core.climate.watched import (
    BoardProbe,
    ClimateConfig,
    FrameProbe,
    Mask,
    Pair,
    counting,
    nearest,
    watched_surfaces,
)
from controller.core.frames import Frame, all_good
from controller.core.points import Point, of_kind
from controller.core.quick import maker
from controller.core.signals.signals import for_control
from controller.core.signals.voting import agreeing, least, median, robust_mean, wetter

_ESTIMATE_EVERY_S = 30.0  # boards lag by most of an hour, so their estimates need no faster look
_LAG_POWER = 0.6  # lag over flow: 0.92 / 0.70 / 0.57 h at 6 / 9 / 12 kg/s, recomputed from film coefficients
_LAG_FACTOR_MAX = 3.0  # with fans off
_OTHERS = (
    "supply", "return_air", "hall", "outdoor_t", "outdoor_rh", "airflow", "fan_power", "heat_power", "fog_flow",
)
__all__ = ["BoardProbe", "Climate", "ClimateConfig", "ClimatePlan", "ClimateState", "FrameProbe", "Pair"]


@dataclass(frozen=True, slots=True)
class Climate:
    """One scan's picture of the chamber, from good readings only; NaN where there is none.

    dew_point_degC: median over the pairs, each formed from RH and the temperature of the same body.
    rh_pct: vapour pressure at that dew point over saturation at the mean temperature.
    surface_degC: the coldest watched surface, its reserve already taken off; surface: which one, in words.
    dew_limit_degC: surface_degC minus the margin; dew_margin_K: surface_degC minus the dew point.
    """

    temperature_degC: float
    coldest_degC: float
    hottest_degC: float
    spread_K: float
    dew_point_degC: float
    humidity_ratio: float
    rh_pct: float
    surface_degC: float
    surface: str
    dew_limit_degC: float
    dew_margin_K: float
    supply_degC: float
    return_degC: float
    hall_degC: float
    outdoor_degC: float
    outdoor_humidity_ratio: float
    airflow_kg_per_s: float
    fan_kW: float
    heat_kW: float
    fog_kg_per_h: float
    temperature_ok: bool
    moisture_ok: bool
    surface_ok: bool


@dataclass(frozen=True, slots=True)
class ClimatePlan:
    """Columns and names, found once.

    temperatures, humidities: pick the pairs' readings; weights sum to one.  surfaces: picks the watched measured
    ones, named by surface_names, with the bay of each board in board_bays (0 for others).  bays: the loaded ones,
    whose bottom boards are estimated; nearest: for each, indexes of the pairs, nearest first; unmeasured: indexes of
    those without a board probe.  others: picks supply, return, hall, outdoor T, outdoor RH, air flow, fan, heat, fog.
    used: picks all of these together.  even: all pairs weigh the same.  airflow: its column.
    saturation_Pa: saturation pressure at a temperature, remembered.  vapour: median vapour pressure of the pairs; ways:
    of each pair, empty when all give relative humidity.  half, odd: middle of the pairs, and whether
    there is one.  disagree_K, margin_K, pressure_Pa: of the section.
    """

    config: ClimateConfig
    good: tuple[int, ...]
    temperatures: Picker
    humidities: Picker
    weights: tuple[float, ...]
    even: bool
    surfaces: Picker
    surface_names: tuple[str, ...]
    board_bays: tuple[int, ...]
    bays: tuple[int, ...]
    estimate_names: tuple[str, ...]
    nearest: tuple[tuple[int, ...], ...]
    unmeasured: tuple[int, ...]
    others: Picker
    used: Picker
    airflow: int
    saturation_Pa: Callable[[float], float]
    ways: tuple[pairs.Way, ...]
    vapour: Callable[[ClimatePlan, tuple[float, ...], tuple[float, ...], bool], float]
    half: int
    odd: bool
    disagree_K: float
    margin_K: float
    pressure_Pa: float


@dataclass(frozen=True, slots=True)
class ClimateState:
    """since_s: time since the estimates moved.  estimated_degC: bottom board of each bay, as lagged air; empty at
    first.  bias_K: how much colder than their estimates the measured boards are (never above 0).
    """

    since_s: float
    estimated_degC: tuple[float, ...]
    bias_K: float


_climate = maker(Climate)
_state = maker(ClimateState)


def bind(
    config: ClimateConfig,
    points: tuple[Point, ...],
    bays: int,
    levels: int,
    empty_bays: tuple[int, ...] = (),
) -> ClimatePlan:
    """Turn tags into columns. Boards of empty bays are not watched. ConfigError names every tag that is missing."""
    binder = Binder("climate", points)
    for index, pair in enumerate(config.pairs):
        binder.within(f"pairs[{index}].bay", pair.bay, bays)
        binder.within(f"pairs[{index}].level", pair.level, levels)
    air = [binder.column(f"pairs[{index}].t", pair.t) for index, pair in enumerate(config.pairs)]
    humidity = pairs.columns(binder, config.pairs)
    surfaces = watched_surfaces(config, binder, bays, levels, empty_bays)
    others = [binder.column(name, getattr(config, name)) for name in _OTHERS]
    binder.done()
    loaded = tuple(bay for bay in range(1, bays + 1) if bay not in empty_bays)
    board_bays = tuple(bay for _, _, bay in surfaces)
    weights = [config.empty_weight if pair.bay in empty_bays else 1.0 for pair in config.pairs]
    total = sum(weights) or 1.0
    reserve = f"estimated, reserve {config.estimated_reserve_K:g} K"
    saturation_Pa = pairs.Remembered().__getitem__
    ways = pairs.ways(config.pairs, config.pressure_Pa, saturation_Pa)
    return ClimatePlan(
        config=config,
        good=all_good(len(of_kind(points, "AI"))),
        temperatures=picker(air),
        humidities=picker(humidity),
        weights=tuple(weight / total for weight in weights),
        even=min(weights) == max(weights),
        surfaces=picker([column for column, _, _ in surfaces]),
        surface_names=tuple(name for _, name, _ in surfaces),
        board_bays=board_bays,
        bays=loaded,
        estimate_names=tuple(f"board bay {bay} level 1, {reserve}" for bay in loaded),
        nearest=tuple(nearest(config.pairs, bay) for bay in loaded),
        unmeasured=tuple(index for index, bay in enumerate(loaded) if bay not in board_bays),
        others=picker(others),
        used=picker([*air, *humidity, *(column for column, _, _ in surfaces), *others]),
        airflow=others[5],
        saturation_Pa=saturation_Pa,
        ways=ways,
        vapour=_vapour_by_ways if ways else _vapour,
        half=len(air) // 2,
        odd=len(air) % 2 == 1,
        disagree_K=config.disagree_K,
        margin_K=config.margin_K,
        pressure_Pa=config.pressure_Pa,
    )


def initial(_plan: ClimatePlan) -> ClimateState:
    """Nothing is known of the boards yet."""
    return ClimateState(since_s=0.0, estimated_degC=(), bias_K=0.0)


def observe(
    plan: ClimatePlan, state: ClimateState, frame: Frame, dt_s: float, mask: Mask | None = None
) -> tuple[ClimateState, Climate]:
    """One picture of the chamber, from GOOD readings (or readings held over a short silence of the link).

    mask: probes and boards that are set aside are looked at as if they had no reading; None = all count.
    """
    healthy = frame.qualities is plan.good or not any(plan.used(frame.qualities))
    values = frame.values if healthy else for_control(frame)
    temperatures, humidities, surfaces = plan.temperatures(values), plan.humidities(values), plan.surfaces(values)
    if mask is not None:
        healthy = False
        temperatures, humidities = counting(mask.pairs, temperatures), counting(mask.pairs, humidities)
        surfaces = counting(mask.surfaces, surfaces)
    ordered = sorted(temperatures)  # quicker than least and greatest
    coldest, hottest = ordered[0], ordered[-1]
    if healthy and plan.even and hottest - coldest <= plan.disagree_K:  # then all are within it of their median
        mean = sum(temperatures) / len(temperatures)
    else:
        mean, coldest, hottest = _trusted(plan, temperatures)
    vapour_Pa = plan.vapour(plan, temperatures, humidities, healthy)
    dew_point = saturation_temperature_degC(vapour_Pa)
    since_s = state.since_s + dt_s
    if since_s >= _ESTIMATE_EVERY_S or not state.estimated_degC:
        state = _estimate(plan, state, surfaces, values[plan.airflow], temperatures, since_s)
    else:
        state = _state(since_s, state.estimated_degC, state.bias_K)
    surface, name = _coldest_surface(plan, state, surfaces, coldest, healthy, mask)
    supply, back, hall, outdoor, outdoor_rh, airflow, fan_kW, heat_kW, fog = plan.others(values)
    pressure = plan.pressure_Pa
    outdoor_Pa = 0.01 * outdoor_rh * plan.saturation_Pa(outdoor)
    return state, _climate(
        mean,
        coldest,
        hottest,
        hottest - coldest,
        dew_point,
        RATIO * vapour_Pa / (pressure - vapour_Pa),
        100.0 * vapour_Pa / saturation_pressure_Pa(mean),
        surface,
        name,
        surface - plan.margin_K,
        surface - dew_point,
        supply,
        back,
        hall,
        outdoor,
        RATIO * outdoor_Pa / (pressure - outdoor_Pa),
        airflow,
        fan_kW,
        heat_kW,
        fog,
        mean == mean,
        dew_point == dew_point,
        surface == surface,
    )




def _trusted(plan: ClimatePlan, temperatures: tuple[float, ...]) -> tuple[float, float, float]:
    """Robust mean, coldest and hottest of the air probes that agree with each other."""
    chosen = agreeing(temperatures, plan.disagree_K)
    trusted = [temperatures[index] for index in chosen]
    return robust_mean(temperatures, plan.weights, chosen), min(trusted, default=nan), max(trusted, default=nan)


def _vapour(plan: ClimatePlan, temperatures: tuple[float, ...], humidities: tuple[float, ...], healthy: bool) -> float:
    """Median vapour pressure over the pairs, each of one body: its dew point is the median dew point.

    (With an even number the middle two are averaged as pressures: within 0.002 K for dew points 0.5 K apart.)
    A probe that reads above 100 %RH is taken at 100: more than that no air of a chamber holds.
    """
    if not max(humidities) <= 100.0 or not healthy:
        humidities = tuple([100.0 if rh > 100.0 else rh for rh in humidities])
    pressures = map(mul, map(plan.saturation_Pa, temperatures), humidities)
    if not healthy:
        return 0.01 * wetter(list(pressures))
    ordered: list[float] = sorted(pressures)
    half = plan.half
    middle = ordered[half] if plan.odd else 0.5 * (ordered[half - 1] + ordered[half])
    return 0.01 * middle


def _vapour_by_ways(
    plan: ClimatePlan, temperatures: tuple[float, ...], readings: tuple[float, ...], _healthy: bool
) -> float:
    """The same where some pairs are wet and dry bulbs, or give a dew point."""
    return wetter([way(*both) for way, *both in zip(plan.ways, temperatures, readings, strict=True)])


def _coldest_surface(
    plan: ClimatePlan, state: ClimateState, surfaces: tuple[float, ...], coldest_air: float, healthy: bool,
    mask: Mask | None,
) -> tuple[float, str]:
    """Coldest watched surface, reserve taken off, and its name; NaN and "unknown" when nothing is known."""
    estimated = state.estimated_degC
    if healthy:
        surface = sorted(surfaces)[0]
        name = plan.surface_names[surfaces.index(surface)]
        unmeasured: Sequence[int] = plan.unmeasured
    else:
        surface = least(surfaces)
        known = surface == surface
        name = plan.surface_names[surfaces.index(surface)] if known else "unknown"
        read = {bay for bay, value in zip(plan.board_bays, surfaces, strict=True) if value == value}
        unmeasured = [
            index for index, bay in enumerate(plan.bays) if bay not in read and (mask is None or mask.bays[index])
        ]
        if not known and coldest_air == coldest_air:
            reserve = plan.config.blind_reserve_K
            surface, name = coldest_air - reserve, f"no surface probe is good: coldest air, reserve {reserve:g} K"
    if estimated:
        reserve = plan.config.estimated_reserve_K - state.bias_K
        for index in unmeasured:
            estimate = estimated[index] - reserve
            if not surface <= estimate:
                surface, name = estimate, plan.estimate_names[index]
    return surface, name


def _estimate(
    plan: ClimatePlan,
    state: ClimateState,
    surfaces: tuple[float, ...],
    airflow_kg_per_s: float,
    temperatures: tuple[float, ...],
    elapsed_s: float,
) -> ClimateState:
    """Move each bottom board's estimate toward its nearest good air probe; learn from the measured ones.

    At first every board is taken as cold as the coldest board that is seen, or as its air. Measured boards colder
    than their own estimates (a cold charge, fans off) pull the others down by their median difference; warmer
    ones never lift them.
    """
    boards = {
        bay: value for bay, value in zip(plan.board_bays, surfaces, strict=True) if bay and value == value
    }
    airs = [next((temperatures[i] for i in order if temperatures[i] == temperatures[i]), nan) for order in plan.nearest]
    estimated = state.estimated_degC
    if not estimated:
        if least(airs) != least(airs):  # no air probe is good: nothing to start from
            return ClimateState(0.0, (), 0.0)
        estimated = tuple([least((air, *boards.values())) for air in airs])
    else:
        gain = 1.0 - exp(-elapsed_s / (3600.0 * _lag_h(plan.config, airflow_kg_per_s)))
        estimated = tuple(
            [was + gain * (air - was) if air == air else was for was, air in zip(estimated, airs, strict=True)]
        )
    colder = median(
        [boards[bay] - estimate for bay, estimate in zip(plan.bays, estimated, strict=True) if bay in boards]
    )
    return ClimateState(0.0, estimated, colder if colder < 0.0 else 0.0)


def _lag_h(config: ClimateConfig, airflow_kg_per_s: float) -> float:
    """Lag of a board behind the air around it: longer in slower air; the nominal one when the flow is not known."""
    if not airflow_kg_per_s > 0.0:
        return config.estimated_lag_h * (_LAG_FACTOR_MAX if airflow_kg_per_s <= 0.0 else 1.0)
    factor = (config.lag_flow_kg_per_s / airflow_kg_per_s) ** _LAG_POWER
    return float(config.estimated_lag_h * min(_LAG_FACTOR_MAX, factor))
