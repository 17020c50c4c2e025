"""What cold boards that come in do to the air around them: how far they pull their cells down, and how wet they get.

A place of fresh boards takes heat from the air that passes it: film coefficient times faces times how much colder the
faces are. That air is the bay's share of the circulation, and what it exchanges with others. So while a trip of n
places warms up, the coldest of their cells lies below the rest by

    fall_K = n * heat of a place (kW) / (air through the bay, kg/s * 1.06 kJ/kgK * (1 + bay_exchange))

and no controller changes that: it warms the chamber as a whole, and this cell is a part of it. What helps is a warmer
mix, more air (without faster jets, which draw more out of the boards too), fewer places in a trip, and time: boards
warm up within the hour, mostly by what condenses on them, which does not cool the air.

bay_exchange stands for all that is not known here: jets that mix levels and bays, the trip before, the door's cold air.
Fitted to whole days of the chamber model it gave the largest fall within a sixth; for one trip alone it is too high by
half to twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from controller.core.climate.moistair import humidity_ratio, saturation_ratio, vapour_pressure_Pa
from controller.core.loops.allocation import TemperatureConfig
from controller.core.loops.capacity import MOIST_AIR_KJ_PER_KGK
from controller.core.outlook.reduced import LATENT_J_PER_KG, LEWIS, ForecastConfig
from controller.core.product.product import ProductConfig

STEP_S = 20.0
FOLLOWED_S = 4.0 * 3600.0
LATENT_SHARE_MAX = 8.0  # latent over sensible heat of a surface below the dew point, at most: 8 at 45 degC
SETTLED_S = 900.0  # so long after its door shut a bay is judged again
AIR_J_PER_KGK = 1000.0 * MOIST_AIR_KJ_PER_KGK


@dataclass(frozen=True, slots=True, kw_only=True)
class Trip:
    """Boards carried into a bay through one opening of its door. places: (tonnes, degC) of each. time_s: of the first;
    shut_s: when the door was shut behind them."""

    time_s: float
    shut_s: float
    bay: int
    places: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """The air that newcomers come into, and how much of it goes round."""

    temperature_degC: float
    rh_pct: float
    flow_kg_per_s: float
    bays: int


@dataclass(frozen=True, slots=True)
class Warming:
    """One place of boards in air that stays as it is. kW: heat they take from it, every step_s; kg_per_m2: water that
    condenses on the product."""

    step_s: float
    kW: tuple[float, ...]
    kg_per_m2: float

    def at(self, since_s: float) -> float:
        """Heat taken so long after coming in, kW."""
        return self.kW[min(int(since_s / self.step_s), len(self.kW) - 1)]


@dataclass(frozen=True, slots=True)
class Pull:
    """The trip that pulls its cells down most, when its bay is judged again. kW: of all its places; wetted: the most
    that condenses on the product of a place, kg/m2."""

    fall_K: float
    kW: float
    trip: Trip
    wetted_kg_per_m2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Newcomers:
    """What a forecast knows of boards and of the air along them: sections of the chamber file."""

    forecast: ForecastConfig
    product: ProductConfig
    thermal: TemperatureConfig


def film_W_per_m2K(product: ProductConfig, flow_kg_per_s: float) -> float:
    """Of the air along boards and product at this flow."""
    share = flow_kg_per_s / product.film_flow_kg_per_s
    moved: float = product.film_W_per_m2K * share**0.8
    return max(product.film_still_W_per_m2K, moved)


def worst(what: Newcomers, trips: Sequence[Trip], around: Around) -> Pull | None:
    """The trip that pulls its cells down most; None without any."""
    known: dict[tuple[float, float], Warming] = {}
    found: Pull | None = None
    for trip in trips:
        kW = wetted = 0.0
        for tonnes, degC in trip.places:
            key = (tonnes, round(degC, 1))
            if key not in known:
                known[key] = warming(what, around, *key)
            kW += known[key].at(trip.shut_s + SETTLED_S - trip.time_s)
            wetted = max(wetted, known[key].kg_per_m2)
        fall = fall_K(what.forecast, around, kW)
        if found is None or fall > found.fall_K:
            found = Pull(fall, kW, trip, wetted)
    return found


def fall_K(config: ForecastConfig, around: Around, kW: float) -> float:
    """How far so much heat pulls down the air that passes through a bay."""
    return 1000.0 * kW * around.bays / (AIR_J_PER_KGK * around.flow_kg_per_s * (1.0 + config.bay_exchange))


def least_degC(what: Newcomers, trip: Trip, around: Around, limit_K: float) -> float:
    """How warm the boards of such a trip must be when they come in, so that they pull no more than limit_K."""
    low, high = min(degC for _, degC in trip.places), around.temperature_degC
    for _ in range(12):  # halved twelve times, a hundredth of a kelvin is left of forty
        middle = 0.5 * (low + high)
        same = Trip(time_s=trip.time_s, shut_s=trip.shut_s, bay=trip.bay,
                    places=tuple((tonnes, middle) for tonnes, _ in trip.places))  # fmt: skip
        pull = worst(what, (same,), around)
        low, high = (middle, high) if pull is not None and pull.fall_K > limit_K else (low, middle)
    return high


def warming(what: Newcomers, around: Around, tonnes: float, degC: float) -> Warming:
    """How one place of boards warms up: product in two layers, and its boards. Its own heat comes later, and is left
    out."""
    config, thermal = what.forecast, what.thermal
    h = film_W_per_m2K(what.product, around.flow_kg_per_s)
    faces, board_faces = config.product_m2_per_t * tonnes, config.boards_m2_per_t * tonnes
    product_J = 1e6 * thermal.product_MJ_per_K_per_t * tonnes
    skin_J, core_J = config.skin_share * product_J, (1.0 - config.skin_share) * product_J
    fixed_J = 1e6 * thermal.fixed_MJ_per_K * tonnes / thermal.nominal_t
    inward = config.skin_to_core_W_per_m2K * faces
    per_m2 = h / (LEWIS * AIR_J_PER_KGK)  # kg/m2s for every kg/kg
    T = around.temperature_degC
    W = humidity_ratio(vapour_pressure_Pa(T, around.rh_pct))
    skin = core = degC
    board = T - config.boards_share * (T - degC)  # they meet the steel of the rack, which is as warm as the air
    kW, wetted = [], 0.0
    per_K = faces * (h * (1.0 + LATENT_SHARE_MAX) + config.skin_to_core_W_per_m2K)
    step_s = min(STEP_S, 0.5 * skin_J / per_K)  # explicit steps stay stable for whatever a chamber file says
    for _ in range(round(FOLLOWED_S / step_s)):
        on_skin = max(0.0, per_m2 * (W - saturation_ratio(skin)))
        on_board = max(0.0, per_m2 * (W - saturation_ratio(board)))
        taken, by_boards = h * faces * (T - skin), h * board_faces * (T - board)
        kW.append(1e-3 * (taken + by_boards))
        wetted += on_skin * step_s
        through = inward * (skin - core)
        skin += step_s * (taken + LATENT_J_PER_KG * on_skin * faces - through) / skin_J
        core += step_s * through / core_J
        board += step_s * (by_boards + LATENT_J_PER_KG * on_board * board_faces) / fixed_J
    return Warming(step_s, tuple(kW), wetted)
