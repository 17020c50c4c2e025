"""Positions and their product: temperature, equivalent age, strength, drying rate, what is ready."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import repeat
from math import nan
from operator import mul

from controller.core.binding import Binder
from controller.core.climate.climate import Climate
from controller.core.climate.moistair import AIR_KJ_PER_KGK, VAPOUR_KJ_PER_KGK, saturation_ratio
from controller.core.climate.places import Picker, picker, positions, row, shares
from controller.core.climate.watched import Pair
from controller.core.frames import Frame, all_good
from controller.core.points import Point, of_kind
from controller.core.product import gap
from controller.core.product.maturity import Rate, Rates, across_gap, arrhenius_rate, arrhenius_rates
from controller.core.product.mix import Mix
from controller.core.product.racks import Dummy, ProductConfig
from controller.core.product.strength import strength_MPa
from controller.core.quick import maker
from controller.core.signals.signals import for_control

__all__ = ["Dummy", "Product", "ProductConfig", "ProductPlan", "ProductState", "Seen"]

LOOK_S = 10.0  # temperatures and drying are looked at so often
AGE_S = 60.0  # and ages move so often


@dataclass(frozen=True, slots=True)
class Product:
    """What is believed of the product now. Positions are bay-major: index = (bay - 1) * levels + (level - 1).

    Equivalent age in hours at 20 degC. drying_kg_per_m2h: h_m (a_w Ws(T_surface) - W), positive dries, negative wets;
    over the wetted fraction while it dries. word: "drying", "wetting", "neutral", or "unknown" (then drying is NaN).
    ok: the temperatures are known now. given_off_kg_per_h: water to the air from all positions.
    age_h_min: what the youngest has at least, age_h_max: what the oldest has at most; they are estimates as long as
    uncertain_h is 0: hours whose temperatures were bridged, not seen (see gap). Strength and ready_fraction go by what
    places have at least.  full: every place in use holds a charge that was
    entered one by one (see charges), and no door is open. empty: no place of these holds one, and no door is open.
    """

    core_degC: float
    core_degC_max: float
    surface_degC: float
    drying_kg_per_m2h: float
    word: str  # "drying", "wetting", "neutral" or "unknown"
    age_h_min: float
    age_h_mean: float
    age_h_max: float
    strength_MPa_min: float
    ready_fraction: float
    ok: bool
    given_off_kg_per_h: float = 0.0
    uncertain_h: float = 0.0
    full: bool = False
    empty: bool = False


@dataclass(frozen=True, slots=True)
class ProductPlan:
    """Columns and weights, found once.

    good: qualities while all is well.  readings: picks dummies then air probes.
    count: of positions.  weights: position after position, on the readings of dummies and air probes.  dummy_air:
    weights of the air probes at the place of each dummy, to fill in for one that is not good.  seats: places of the
    dummies.  occupied: positions that hold product.
    """

    config: ProductConfig
    mix: Mix
    rate: Rate
    rates: Rates
    pressure_Pa: float
    good: tuple[int, ...]
    readings: Picker
    dummies: tuple[int, ...]
    air: tuple[int, ...]
    count: int
    weights: tuple[float, ...]
    dummy_air: tuple[tuple[float, ...], ...]
    seats: tuple[int, ...]
    occupied: tuple[int, ...]
    pick_occupied: Picker


@dataclass(frozen=True, slots=True)
class ProductState:
    """pending_s: time not yet in the ages.  temperatures_degC, ages_h: per position, when the ages last moved.

    uncertain_s: time in the ages that was bridged.  seen: the last picture, the same object until it changes.
    younger_h, older_h: per position, by how much its age may be less or more than estimated; empty = nothing bridged.
    unheated_s: how much of pending_s there was no controller.
    """

    pending_s: float
    temperatures_degC: tuple[float, ...]
    ages_h: tuple[float, ...]
    uncertain_s: float
    seen: Product
    younger_h: tuple[float, ...] = ()
    older_h: tuple[float, ...] = ()
    unheated_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Seen:
    """What one look at the dummies gives: core mean and hottest, surface, drying rate, whether it is known."""

    core_degC: float
    core_degC_max: float
    surface_degC: float
    drying_kg_per_m2h: float
    ok: bool


_product = maker(Product)
_seen = maker(Seen)
_state = maker(ProductState)


def bind(
    config: ProductConfig,
    mix: Mix,
    points: tuple[Point, ...],
    bays: int,
    levels: int,
    occupied: tuple[bool, ...] = (),
    pairs: tuple[Pair, ...] = (),
    pressure_Pa: float = 101325.0,
) -> ProductPlan:
    """Turn tags into columns and places into weights.

    occupied: one flag a position, empty = all hold product.  pairs: the air probes of the climate section; without
    them every position is as warm as its nearest dummies say. ConfigError names every tag that is missing.
    """
    binder = Binder("product", points)
    for index, dummy in enumerate(config.dummies):
        binder.within(f"dummies[{index}].bay", dummy.bay, bays)
        binder.within(f"dummies[{index}].level", dummy.level, levels)
    dummies = tuple(binder.column(f"dummies[{index}].tag", dummy.tag) for index, dummy in enumerate(config.dummies))
    air = tuple(binder.column(f"climate.pairs[{index}].t", pair.t) for index, pair in enumerate(pairs))
    flags = occupied or (True,) * (bays * levels)
    if len(flags) != bays * levels:
        binder.refuse("occupied", f"{len(flags)} flags", f"one a position: {bays * levels}", "give one a position")
    binder.done()
    full = tuple(index for index, flag in enumerate(flags) if flag)
    seats = [(dummy.bay, dummy.level) for dummy in config.dummies]
    probes = [(pair.bay, pair.level) for pair in pairs]
    return ProductPlan(
        config=config,
        mix=mix,
        rate=arrhenius_rate(mix.activation_energy_kJ_per_mol, mix.reference_degC),
        rates=arrhenius_rates(mix.activation_energy_kJ_per_mol, mix.reference_degC),
        pressure_Pa=pressure_Pa,
        good=all_good(len(of_kind(points, "AI"))),
        readings=picker([*dummies, *air]),
        dummies=dummies,
        air=air,
        count=bays * levels,
        weights=tuple(
            weight for place in positions(bays, levels) for weight in row(place, seats, probes, config.air_share)
        ),
        dummy_air=tuple(shares(seat, probes) if probes else () for seat in seats),
        seats=tuple((bay - 1) * levels + level - 1 for bay, level in seats),
        occupied=full,
        pick_occupied=picker(full),
    )


def initial(plan: ProductPlan, mix_degC: float, age_h: float = 0.0) -> ProductState:
    """Product of one temperature and one equivalent age everywhere, before anything was read."""
    count = plan.count
    ages = (age_h,) * count
    seen = _picture(plan, ages, 0.0, (), (), Seen(mix_degC, mix_degC, mix_degC, nan, False))
    return ProductState(0.0, (mix_degC,) * count, ages, 0.0, seen)


def seen_at_start(_plan: ProductPlan, state: ProductState) -> Product:
    """The picture that belongs to a state."""
    return state.seen


def follow(
    plan: ProductPlan, state: ProductState, frame: Frame, climate: Climate, dt_s: float
) -> tuple[ProductState, Product]:
    """Let dt_s pass. It may be hours (an outage): ages then bridge the gap in a straight line, flagged uncertain.

    While no dummy can be read the ages stand still and the time waits; it is bridged when one comes back.
    """
    pending_s = state.pending_s + dt_s
    if pending_s // LOOK_S == state.pending_s // LOOK_S:
        return waited(state, pending_s, state.seen), state.seen
    readings = readings_now(plan, frame, climate)
    now = look(plan, state, readings, climate, pending_s)
    if pending_s < AGE_S or not readings:
        was = state.seen
        aged = (was.age_h_min, was.age_h_mean, was.age_h_max, was.strength_MPa_min, was.ready_fraction)
        seen = record(plan, aged, state.uncertain_s, now)
        return waited(state, pending_s, seen), seen
    terms = map(mul, plan.weights, readings * plan.count)  # of all positions, one after the other
    temperatures = tuple(map(sum, zip(*[terms] * len(readings), strict=True)))
    ages = grown(plan, state, temperatures, pending_s)
    uncertain_s, younger, older = state.uncertain_s, state.younger_h, state.older_h
    if pending_s > plan.config.gap_s:
        uncertain_s += pending_s
        spans = zip(repeat(plan.mix), repeat(plan.rate), state.ages_h, ages, state.temperatures_degC, temperatures,
                    repeat(pending_s / 3600.0))
        heated = pending_s - state.unheated_s > plan.config.gap_s
        younger, older = gap.more(younger, older, spans, gap.around_degC(climate), heated)
    seen = _picture(plan, ages, uncertain_s, younger, older, now)
    return _state(0.0, temperatures, ages, uncertain_s, seen, younger, older), seen


def waited(state: ProductState, pending_s: float, seen: Product) -> ProductState:
    """The state while ages stand: only time that waits and the picture are new."""
    return _state(pending_s, state.temperatures_degC, state.ages_h, state.uncertain_s, seen, state.younger_h,
                  state.older_h, state.unheated_s)


def readings_now(
    plan: ProductPlan, frame: Frame, climate: Climate, hidden: tuple[int, ...] = ()
) -> tuple[float, ...]:
    """Dummies then air probes, those not good filled in from the others; empty when no dummy is good.

    hidden: dummies that stand for nothing now, filled in as well.
    """
    if frame.qualities is plan.good and not hidden:
        return plan.readings(frame.values)
    values = for_control(frame) if any(frame.qualities) else frame.values
    dummies = [nan if number in hidden else values[column] for number, column in enumerate(plan.dummies)]
    air = [values[column] for column in plan.air]
    total = sum(dummies) + sum(air)
    if total == total:  # no NaN among them
        return (*dummies, *air)
    good = [index for index, value in enumerate(dummies) if value == value]
    if not good and len(hidden) < len(dummies):
        return ()
    fill = climate.temperature_degC if climate.temperature_ok else 0.0  # nothing known of the air: any constant cancels
    air = [value if value == value else fill for value in air]
    local = [sum(map(mul, weights, air)) for weights in plan.dummy_air]
    share = plan.config.air_share
    if not good:  # every dummy stands among young boards: what is known of settled ones is the air around them
        return (*local, *air) if climate.temperature_ok else ()
    for index, value in enumerate(dummies):
        if value != value:
            others = [dummies[other] + share * (local[index] - local[other]) for other in good]
            dummies[index] = sum(others) / len(others)
    return (*dummies, *air)


def look(
    plan: ProductPlan, state: ProductState, readings: tuple[float, ...], climate: Climate, pending_s: float
) -> Seen:
    """Core from the dummies (the hottest: of them and of all positions at the last minute), surface, drying."""
    if not readings:
        return Seen(nan, nan, nan, nan, False)
    dummies = readings[: len(plan.dummies)]
    core = sum(dummies) / len(dummies)
    hottest = max(dummies)
    if pending_s <= plan.config.gap_s:
        hottest = max((hottest, *plan.pick_occupied(state.temperatures_degC)))
    surface = core + plan.config.surface_share * (climate.temperature_degC - core)
    return _seen(core, hottest, surface, drying_rate(plan, surface, climate), True)


def drying_rate(plan: ProductPlan, surface_degC: float, climate: Climate) -> float:
    """Water given off in kg/m2h, negative when it condenses; NaN when surface or moisture of the air is not known.

    h_m = h / c_p of the moist air (Lewis relation with exponent left out, common for water in air).
    """
    config = plan.config
    flow = climate.airflow_kg_per_s
    film = config.film_W_per_m2K
    if flow == flow:  # an unknown flow is taken as the nominal one
        film = max(config.film_still_W_per_m2K, film * (max(0.0, flow) / config.film_flow_kg_per_s) ** 0.8)
    transfer = 3.6 * film / (AIR_KJ_PER_KGK + VAPOUR_KJ_PER_KGK * climate.humidity_ratio)
    saturated = saturation_ratio(surface_degC, plan.pressure_Pa)
    rate = transfer * (config.water_activity * saturated - climate.humidity_ratio)
    return rate * config.wetted_fraction if rate > 0.0 else rate


def grown(
    plan: ProductPlan, state: ProductState, temperatures: tuple[float, ...], elapsed_s: float
) -> tuple[float, ...]:
    """Ages after a time in which each position went in a straight line from its last temperature to this one."""
    hours = elapsed_s / 3600.0
    rate, before = plan.rate, state.temperatures_degC
    if elapsed_s > plan.config.gap_s:
        return tuple(
            [
                age + hours * across_gap(rate, was, now)
                for age, was, now in zip(state.ages_h, before, temperatures, strict=True)
            ]
        )
    # Over a minute the rate at the middle is as good as a trapezoid, for one exponential less.
    rates = plan.rates([0.5 * (was + now) for was, now in zip(before, temperatures, strict=True)])
    return tuple([age + hours * pace for age, pace in zip(state.ages_h, rates, strict=True)])


def _picture(
    plan: ProductPlan, ages_h: tuple[float, ...], uncertain_s: float, younger_h: tuple[float, ...],
    older_h: tuple[float, ...], now: Seen,
) -> Product:
    """All numbers of the record, over occupied positions; an empty chamber has age 0 and nothing ready."""
    ages = plan.pick_occupied(ages_h) or (0.0,)
    least, most = ages, ages
    if younger_h and plan.occupied:
        least = plan.pick_occupied(gap.least_ages_h(ages_h, younger_h))
        most = plan.pick_occupied(gap.summed(ages_h, older_h))
    youngest = min(least)
    ready = len([age for age in least if age >= plan.config.ready_age_h]) / len(ages) if plan.occupied else 0.0
    strength = strength_MPa(plan.mix, youngest)
    aged = (youngest, sum(ages) / len(ages), max(most), strength, ready)
    return record(plan, aged, uncertain_s, now)


def record(
    plan: ProductPlan, aged: tuple[float, float, float, float, float], uncertain_s: float, now: Seen,
    places: int | None = None, full: bool = False, empty: bool = False,
) -> Product:
    """The record from (ages min, mean, max, least strength, share ready) and one look. places: that give off water."""
    drying = now.drying_kg_per_m2h
    if drying != drying:
        word = "unknown"
    elif abs(drying) <= plan.config.neutral_kg_per_m2h:
        word = "neutral"
    else:
        word = "drying" if drying > 0.0 else "wetting"
    places = len(plan.occupied) if places is None else places
    given_off_kg_per_h = drying * plan.config.area_m2_per_position * places
    return _product(
        now.core_degC,
        now.core_degC_max,
        now.surface_degC,
        drying,
        word,
        *aged,
        now.ok,
        given_off_kg_per_h,
        uncertain_s / 3600.0,
        full,
        empty,
    )
