"""The charge table: boards that come and go by place, each with its own clock, equivalent age and readiness.

In a standing climate there is no common start. What was entered with a `charge` order begins its own clock in the scan
in which the order is taken; an order of another place changes nothing about it. A newcomer has no probe: it is taken
to be as far from the settled product around it as when it came, less by `entry_lag_h`, until `settle_h`. Till then it
is no watched surface, and the water that condenses on it is estimated here instead.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import exp
from operator import mul

from controller.core.climate.climate import Climate
from controller.core.frames import Frame
from controller.core.product import gap, product
from controller.core.product.maturity import Rate, arrhenius_rate
from controller.core.product.mix import Mix
from controller.core.product.product import Product, ProductPlan, ProductState, Seen
from controller.core.product.strength import strength_MPa
from controller.core.quick import maker

_GONE_K = 0.01  # a difference below this is none


@dataclass(frozen=True, slots=True)
class Place:
    """Boards on one place. degC, age_h: at entry.  mix: its name, "" = the mix that control was begun with.

    own_s: time since they came.  late_s: part of the minute that runs which had passed when they came.  apart_K: how
    much warmer than settled product there.  settled: they are watched.  film_kg_per_m2: on them now, an estimate;
    wetted_kg_per_m2: all that condensed on them, until they settled.
    """

    tonnes: float
    degC: float
    age_h: float
    mix: str
    own_s: float
    late_s: float
    apart_K: float
    settled: bool
    film_kg_per_m2: float
    wetted_kg_per_m2: float


@dataclass(frozen=True, slots=True)
class ChargeState:
    """places: in the order of the positions, None = empty; no tuple at all (empty) while nothing was entered one by
    one.  young: which places are not watched.  mix_degC, age_h: of a whole charge when control began.  begun: a cycle
    was started with it.
    """

    places: tuple[Place | None, ...]
    young: tuple[bool, ...]
    mix_degC: float
    age_h: float
    begun: bool


@dataclass(frozen=True, slots=True)
class ChargePlan:
    """mixes: by name, "" = the one control was begun with; rates: of their equivalent ages.  load_t: of a whole charge.

    each: places are entered one by one from the beginning (a recipe with a fill or a standing climate); empty: and
    there are no boards yet.
    """

    product: ProductPlan
    bays: int
    levels: int
    mixes: Mapping[str, Mix]
    rates: Mapping[str, Rate]
    settle_s: float
    lag_s: float
    load_t: float
    each: bool
    empty: bool


place = maker(Place)
state_of = maker(ChargeState)
_product_state = maker(ProductState)


def bind(
    plan: ProductPlan,
    *,
    bays: int,
    levels: int,
    load_t: float,
    others: tuple[Mix, ...] = (),
    settle_h: float | None = None,
    each: bool = False,
    empty: bool = False,
) -> ChargePlan:
    """others: mixes besides the one of the product plan. settle_h: of the recipe, None = the chamber's own."""
    mixes = {"": plan.mix, plan.mix.name: plan.mix, **{mix.name: mix for mix in others}}
    config = plan.config
    return ChargePlan(
        product=plan, bays=bays, levels=levels, mixes=mixes,
        rates={name: arrhenius_rate(m.activation_energy_kJ_per_mol, m.reference_degC) for name, m in mixes.items()},
        settle_s=3600.0 * (config.settle_h if settle_h is None else settle_h), lag_s=3600.0 * config.entry_lag_h,
        load_t=load_t, each=each, empty=empty,
    )


def initial(plan: ChargePlan, mix_degC: float, age_h: float) -> ChargeState:
    """A whole charge of one temperature and age; place by place where the recipe wants it so."""
    state = ChargeState((), (), mix_degC, age_h, begun=False)
    return singly(plan, state, 0.0) if plan.each else state


def singly(plan: ChargePlan, state: ChargeState, own_s: float) -> ChargeState:
    """The same boards, place by place: what stood there as a whole charge counts as settled."""
    occupied = () if plan.empty else plan.product.occupied
    each_t = plan.load_t / len(occupied) if occupied else 0.0
    there = place(each_t, state.mix_degC, state.age_h, "", own_s, 0.0, 0.0, True, 0.0, 0.0)
    found = set(occupied)
    return with_places(state, tuple(there if index in found else None for index in range(plan.product.count)))


def with_places(state: ChargeState, places: tuple[Place | None, ...]) -> ChargeState:
    """The state with other places; `young` stays the same object while it says the same."""
    young = tuple([there is None or not there.settled for there in places])
    return state_of(places, state.young if young == state.young else young, state.mix_degC, state.age_h, state.begun)


def stands(plan: ChargePlan, state: ChargeState) -> bool:
    """Does product stand inside, as far as is known?"""
    if state.places:
        return any(there is not None for there in state.places)
    return plan.load_t > 0.0 and bool(plan.product.occupied)


def follow(
    plan: ChargePlan, charges: ChargeState, state: ProductState, frame: Frame, climate: Climate, dt_s: float
) -> tuple[ChargeState, ProductState, Product]:
    """Let dt_s pass for every place, as `product.follow` does for a whole charge."""
    base = plan.product
    pending_s = state.pending_s + dt_s
    if pending_s // product.LOOK_S == state.pending_s // product.LOOK_S:
        seen = state.seen
        return charges, product.waited(state, pending_s, seen), seen
    hidden = tuple([number for number, seat in enumerate(base.seats) if charges.young[seat]])
    readings = product.readings_now(base, frame, climate, hidden)
    now = product.look(base, state, readings, climate, pending_s)
    if pending_s < product.AGE_S or not readings:
        seen = picture(plan, charges, state, now)
        return charges, product.waited(state, pending_s, seen), seen
    terms = map(mul, base.weights, readings * base.count)
    local = tuple(map(sum, zip(*[terms] * len(readings), strict=True)))
    before = charges
    charges, temperatures, ages = _older(plan, charges, state, local, climate, pending_s)
    uncertain_s, younger, older = state.uncertain_s, state.younger_h, state.older_h
    if pending_s > base.config.gap_s:
        uncertain_s += pending_s
        spans = _spans(plan, before, state, temperatures, ages, pending_s)
        heated = pending_s - state.unheated_s > base.config.gap_s
        younger, older = gap.more(younger, older, spans, gap.around_degC(climate), heated)
    after = _product_state(0.0, temperatures, ages, uncertain_s, state.seen, younger, older)
    seen = picture(plan, charges, after, now)
    return charges, _product_state(0.0, temperatures, ages, uncertain_s, seen, younger, older), seen


def _spans(
    plan: ChargePlan, charges: ChargeState, state: ProductState, temperatures: tuple[float, ...],
    ages: tuple[float, ...], elapsed_s: float,
) -> Iterator[gap.Span | None]:
    """Of a gap, place by place: its mix, age and temperature before and after, and how long it has stood there."""
    for index, there in enumerate(charges.places):
        yield None if there is None else (
            plan.mixes[there.mix], plan.rates[there.mix], state.ages_h[index], ages[index],
            state.temperatures_degC[index], temperatures[index], (elapsed_s - there.late_s) / 3600.0,
        )


def _older(
    plan: ChargePlan, charges: ChargeState, state: ProductState, local: tuple[float, ...], climate: Climate,
    elapsed_s: float,
) -> tuple[ChargeState, tuple[float, ...], tuple[float, ...]]:
    """Every place older by the time that is its own; temperatures and ages of all, those of empty ones local and 0."""
    places: list[Place | None] = []
    temperatures, ages = list(local), [0.0] * len(local)
    for index, there in enumerate(charges.places):
        if there is None:
            places.append(None)
            continue
        own_s = elapsed_s - there.late_s
        apart = there.apart_K * exp(-own_s / plan.lag_s) if there.apart_K else 0.0
        now = local[index] + apart
        temperatures[index] = now
        rate, before = plan.rates[there.mix], state.temperatures_degC[index]
        middle = rate(0.5 * (before + now))
        pace = middle if own_s <= plan.product.config.gap_s else (rate(before) + 4.0 * middle + rate(now)) / 6.0
        ages[index] = state.ages_h[index] + own_s / 3600.0 * pace
        places.append(_aged(plan, there, own_s, apart, now, climate))
    return with_places(charges, tuple(places)), tuple(temperatures), tuple(ages)


def _aged(plan: ChargePlan, there: Place, own_s: float, apart_K: float, now_degC: float, climate: Climate) -> Place:
    """The same boards later: what is left of their difference, the film on them, whether they have settled."""
    since_s = there.own_s + own_s
    film, wetted, settled = there.film_kg_per_m2, there.wetted_kg_per_m2, there.settled
    if settled:
        apart_K = 0.0 if -_GONE_K < apart_K < _GONE_K else apart_K
    else:
        surface = now_degC + plan.product.config.surface_share * (climate.temperature_degC - now_degC)
        rate = product.drying_rate(plan.product, surface, climate)
        if rate == rate:
            water = -rate * own_s / 3600.0
            film = max(0.0, film + water)
            wetted += max(0.0, water)
        settled = since_s >= plan.settle_s
    return place(there.tonnes, there.degC, there.age_h, there.mix, since_s, 0.0, apart_K, settled, film, wetted)


def picture(
    plan: ChargePlan, charges: ChargeState, state: ProductState, now: Seen,
) -> Product:
    """All numbers of the record, over the places that hold boards."""
    ages_h, most_h = state.ages_h, gap.summed(state.older_h, state.ages_h)
    least_h = gap.least_ages_h(ages_h, state.younger_h)
    base, count, ready = plan.product, 0, 0
    youngest: dict[str, float] = {}
    total = oldest = 0.0
    hottest = now.core_degC_max
    for there, age, least, most, degC in zip(
        charges.places, ages_h, least_h, most_h, state.temperatures_degC, strict=True
    ):
        if there is None:
            continue
        count += 1
        ready += least >= base.config.ready_age_h
        total += age
        oldest = max(oldest, most)
        youngest[there.mix] = min(least, youngest.get(there.mix, least))
        hottest = max(hottest, degC)
    strength = min([strength_MPa(plan.mixes[mix], age) for mix, age in youngest.items()], default=0.0)
    aged = (min(youngest.values(), default=0.0), total / count if count else 0.0, oldest, strength,
            ready / count if count else 0.0)
    seen = Seen(now.core_degC, hottest, now.surface_degC, now.drying_kg_per_m2h, now.ok)
    settled = sum(there is not None and there.settled for there in charges.places)
    full, empty = count == len(base.occupied) > 0, count == 0
    return product.record(base, aged, state.uncertain_s, seen, settled, full, empty)


def seen_now(plan: ChargePlan, charges: ChargeState, state: ProductState) -> tuple[ProductState, Product]:
    """The product state after orders: empty places have no age, and the picture is that of what stands there now."""
    ages = tuple([0.0 if there is None else age for there, age in zip(charges.places, state.ages_h, strict=True)])
    was = state.seen
    look = Seen(was.core_degC, was.core_degC_max, was.surface_degC, was.drying_kg_per_m2h, was.ok)
    full = [there is not None for there in charges.places]
    younger, oldest = [
        tuple([one if there else 0.0 for there, one in zip(full, known, strict=True)]) if known else ()
        for known in (state.younger_h, state.older_h)
    ]
    after = _product_state(
        state.pending_s, state.temperatures_degC, ages, state.uncertain_s, state.seen, younger, oldest,
        state.unheated_s,
    )
    seen = picture(plan, charges, after, look)
    return replace(after, seen=seen), seen
