"""Cold boards that come in: what they take out of the air, how far they pull it down, what would keep to a limit."""

from __future__ import annotations

from dataclasses import replace
from math import exp

import pytest

from controller.config.chamber import ChamberFile
from controller.config.find import find
from controller.config.loader import load
from controller.core.outlook.everyday import day
from controller.core.outlook.newcomers import (
    SETTLED_S,
    Around,
    Newcomers,
    Trip,
    fall_K,
    film_W_per_m2K,
    least_degC,
    warming,
    worst,
)
from controller.core.product.maturity import arrhenius_rate
from controller.core.product.mix import Mix

AROUND = Around(temperature_degC=32.0, rh_pct=95.0, flow_kg_per_s=9.0, bays=6)
T_PER_PLACE = 5.0 / 3.0


@pytest.fixture(scope="module")
def what() -> Newcomers:
    place = load(find("chamber", "demo-north"), ChamberFile)
    return Newcomers(forecast=place.forecast, product=place.product, thermal=place.temperature)


@pytest.fixture(scope="module")
def mix() -> Mix:
    return load(find("mix", "demo-60"), Mix)


def trip(*temperatures: float, time_s: float = 3600.0, bay: int = 1) -> Trip:
    places = tuple((T_PER_PLACE, degC) for degC in temperatures)
    return Trip(time_s=time_s, shut_s=time_s + 60.0, bay=bay, places=places)


@pytest.mark.outside("recomputed: film times faces times difference, 10 W/m2K, 13.5 + 13.8 m2 for every tonne")
def test_at_first_a_place_takes_what_its_cold_faces_take(what: Newcomers) -> None:
    """The boards meet the warm steel of the rack: 85 % of their node is as cold as they came."""
    product, boards = 10.0 * 13.5 * T_PER_PLACE * 12.0, 10.0 * 13.8 * T_PER_PLACE * 0.85 * 12.0
    assert warming(what, AROUND, T_PER_PLACE, 20.0).kW[0] == pytest.approx(1e-3 * (product + boards))
    assert film_W_per_m2K(what.product, 18.0) == pytest.approx(10.0 * 2.0**0.8)


def test_boards_warm_up_within_the_hour_and_get_wet_only_when_they_are_colder_than_the_dew_point(
    what: Newcomers,
) -> None:
    cold, warm = (warming(what, AROUND, T_PER_PLACE, degC) for degC in (20.0, 31.5))
    assert cold.at(3600.0) < 0.15 * cold.at(0.0)
    assert list(cold.kW) == sorted(cold.kW, reverse=True)
    assert cold.kg_per_m2 > 0.1
    assert warm.kg_per_m2 == 0.0


def test_what_condenses_warms_but_does_not_cool_the_air(what: Newcomers) -> None:
    """In dry air the same boards take far more out of the air before they are as warm."""
    moist = warming(what, AROUND, T_PER_PLACE, 20.0)
    dry = warming(what, replace(AROUND, rh_pct=30.0), T_PER_PLACE, 20.0)
    assert dry.kg_per_m2 == 0.0
    assert sum(dry.kW) > 1.5 * sum(moist.kW)
    # dry, it is all heat of product and boards, most of it by then: 1 and 0.85 * 46.6 / 120 MJ/K for every tonne
    stored_kJ = 1000.0 * T_PER_PLACE * (1.0 + 0.85 * 46.6 / 120.0) * 12.0
    assert 0.85 * stored_kJ < sum(dry.kW) * dry.step_s < stored_kJ


def test_the_fall_goes_with_the_places_of_a_trip_and_against_the_air_of_a_bay(what: Newcomers) -> None:
    one, three = (worst(what, [trip(*[20.0] * count)], AROUND) for count in (1, 3))
    assert one is not None
    assert three is not None
    assert three.fall_K == pytest.approx(3.0 * one.fall_K)
    kW = 3.0 * warming(what, AROUND, T_PER_PLACE, 20.0).at(60.0 + SETTLED_S)
    assert three.fall_K == pytest.approx(kW / (9.0 / 6.0 * 1.06 * 1.3))
    assert fall_K(what.forecast, replace(AROUND, flow_kg_per_s=18.0), kW) == pytest.approx(0.5 * three.fall_K)


def test_the_worst_of_many_trips_is_found_and_none_is_nothing(what: Newcomers) -> None:
    trips = [trip(28.0), trip(22.0, bay=4, time_s=7200.0), trip(29.0, 29.0)]
    pull = worst(what, trips, AROUND)
    assert pull is not None
    assert pull.trip is trips[1]
    assert worst(what, [], AROUND) is None


def test_boards_as_warm_as_needed_keep_just_to_the_limit(what: Newcomers) -> None:
    cold = trip(20.0, 19.0, 21.0)
    least = least_degC(what, cold, AROUND, 0.6)
    kept, colder = (worst(what, [trip(*[least - less] * 3)], AROUND) for less in (0.0, 0.2))
    assert kept is not None
    assert colder is not None
    assert kept.fall_K <= 0.6 < colder.fall_K
    assert 20.0 < least < 32.0


def test_steps_stay_stable_whatever_a_chamber_file_says(what: Newcomers) -> None:
    forecast = replace(what.forecast, skin_share=0.01, skin_to_core_W_per_m2K=500.0, product_m2_per_t=60.0)
    kW = warming(replace(what, forecast=forecast), AROUND, T_PER_PLACE, 5.0).kW
    assert all(0.0 <= value <= kW[0] for value in kW)


@pytest.mark.outside("recomputed: Q exp(-(tau/te)^b) between entry and a day later, 40 kJ/mol, 350 kg in 2300 kg")
def test_the_heat_of_a_day_is_that_of_all_that_stands_inside(what: Newcomers, mix: Mix) -> None:
    trips = [trip(26.0, 26.0, 26.0, time_s=3600.0 * hour) for hour in range(24)]
    found = day(what, mix, AROUND, trips, [(8.0, 80.0)], fan_kW=4.0, vent_kg_per_s=1.0)
    end = 24.0 * arrhenius_rate(40.0, 20.0)(32.0)
    kJ = 318.0 * 1e3 * 350.0 / 2300.0 * 120.0 * exp(-((18.0 / end) ** 1.05))
    assert found.tonnes == pytest.approx(120.0)
    assert found.hydration_kW == pytest.approx(kJ / 86_400.0, rel=0.01)
    assert found.hydration_kW_max == pytest.approx(found.hydration_kW), "boards come at every hour alike"
    assert found.warming_kWh == pytest.approx(120.0 * (1.0 + 0.85 * 46.6 / 120.0) * 6.0 / 3.6)


def test_a_shift_gives_its_heat_later_and_cold_boards_need_heat_at_once(what: Newcomers, mix: Mix) -> None:
    trips = [trip(*[15.0] * 9, time_s=3600.0 * hour) for hour in range(1, 9)]
    found = day(what, mix, AROUND, trips, [(8.0, 80.0), (30.0, 60.0)], fan_kW=4.0, vent_kg_per_s=1.0)
    assert found.hydration_kW_max > 1.3 * found.hydration_kW
    assert found.heat_kW > 50.0
    assert found.cooling_kW > found.vent_kW > 0.0, "at 30 degC outdoors this vent is too small"
