"""Product: position temperatures, equivalent age through gaps and restarts, drying in words."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from math import isnan, nan

import pytest

from controller.core.climate import climate, moistair, places
from controller.core.frames import Frame, Quality
from controller.core.points import Point
from controller.core.product import maturity, product
from controller.core.product.mix import Mix
from controller.core.product.strength import strength_MPa
from controller.errors import ConfigError

TAGS = ("TT-1", "TT-2", "TT-3", "TT-4")  # dummies, then air below and above
POINTS = tuple(
    Point(tag=tag, kind="AI", text="", device="panel", address=column, signal="4-20mA")
    for column, tag in enumerate(TAGS)
)
PAIRS = (
    climate.Pair(t="TT-3", rh="unused", bay=1, level=1),
    climate.Pair(t="TT-4", rh="unused", bay=2, level=4),
)
CONFIG = product.ProductConfig(
    dummies=(product.Dummy(tag="TT-1", bay=1, level=1), product.Dummy(tag="TT-2", bay=2, level=4))
)
MIX = Mix(name="test", cement_kg_per_m3=350.0, density_kg_per_m3=2300.0)
PLAN = product.bind(CONFIG, MIX, POINTS, 2, 4, pairs=PAIRS)
RATE = maturity.arrhenius_rate(40.0)
AIR = climate.Climate(
    temperature_degC=30.0,
    coldest_degC=30.0,
    hottest_degC=30.0,
    spread_K=0.0,
    dew_point_degC=29.0,
    humidity_ratio=moistair.saturation_ratio(29.0),
    rh_pct=94.4,
    surface_degC=29.8,
    surface="ceiling",
    dew_limit_degC=29.65,
    dew_margin_K=0.8,
    supply_degC=31.0,
    return_degC=30.0,
    hall_degC=18.0,
    outdoor_degC=8.0,
    outdoor_humidity_ratio=0.005,
    airflow_kg_per_s=9.0,
    fan_kW=4.0,
    heat_kW=10.0,
    fog_kg_per_h=0.0,
    temperature_ok=True,
    moisture_ok=True,
    surface_ok=True,
)


def frame(*values: float) -> Frame:
    """Two dummies and two air probes; NaN is a BAD reading."""
    qualities = tuple(int(Quality.BAD if isnan(value) else Quality.GOOD) for value in values)
    return Frame(values, qualities, ("",) * len(values), (), 0)


def go(
    state: product.ProductState, seconds: float, *values: float, plan: product.ProductPlan = PLAN, dt_s: float = 1.0
) -> tuple[product.ProductState, product.Product]:
    seen = frame(*values)
    for _ in range(round(seconds / dt_s)):
        state, picture = product.follow(plan, state, seen, AIR, dt_s)
    return state, picture


def test_before_anything_is_read_the_product_is_as_mixed() -> None:
    state = product.initial(PLAN, 14.0, 2.0)
    seen = product.seen_at_start(PLAN, state)
    assert (seen.age_h_min, seen.age_h_mean, seen.age_h_max) == (2.0, 2.0, 2.0)
    assert seen.core_degC == 14.0
    assert (seen.word, seen.ok) == ("unknown", False)
    assert seen.strength_MPa_min == strength_MPa(MIX, 2.0)


def test_a_day_at_one_temperature_is_worth_its_rate() -> None:
    """24 h at 35 degC are 53.35 h at 20 degC (Ea 40 kJ/mol)."""
    state, seen = go(product.initial(PLAN, 35.0), 86400, 35.0, 35.0, 35.0, 35.0, dt_s=10.0)
    assert seen.age_h_min == pytest.approx(53.35, abs=0.01)
    assert seen.age_h_max == pytest.approx(53.35, abs=0.01)
    assert seen.strength_MPa_min == pytest.approx(strength_MPa(MIX, 53.35), abs=0.01)
    assert seen.uncertain_h == 0.0
    assert state.pending_s == 0.0


def test_age_follows_a_curing_profile_to_the_exact_value() -> None:
    """2 h at 20, 3 h ramp to 35, hold to 20 h, 4 h ramp to 25: exactly 46.9116 h (recomputed by the minute)."""
    state = product.initial(PLAN, 20.0)
    for step in range(1, 24 * 60 + 1):
        hour = step / 60.0
        t = 20.0 + 5.0 * max(0.0, hour - 2.0) if hour <= 5.0 else 35.0 - 2.5 * max(0.0, hour - 20.0)
        state, seen = product.follow(PLAN, state, frame(t, t, t, t), AIR, 60.0)
    assert seen.age_h_mean == pytest.approx(46.9116, abs=1e-3)


def test_positions_follow_their_dummy_and_a_share_of_the_local_air() -> None:
    """At a dummy's place its own reading; elsewhere warmer air means warmer product; common air cancels."""
    state, _ = go(product.initial(PLAN, 20.0), 60, 30.0, 32.0, 29.0, 31.0)
    assert state.temperatures_degC[0] == pytest.approx(30.0)
    assert state.temperatures_degC[-1] == pytest.approx(32.0)
    assert all(30.0 <= t <= 32.0 for t in state.temperatures_degC)
    shifted, _ = go(product.initial(PLAN, 20.0), 60, 30.0, 32.0, 39.0, 41.0)
    assert shifted.temperatures_degC == pytest.approx(state.temperatures_degC)


def test_one_dummy_lost_is_filled_in_from_the_other_and_the_air_between_them() -> None:
    """The lost place is 2 K warmer in the air; 0.8 of that is added to what the other dummy reads."""
    state, seen = go(product.initial(PLAN, 20.0), 60, 30.0, nan, 29.0, 31.0)
    assert state.temperatures_degC[-1] == pytest.approx(30.0 + 0.8 * 2.0)
    assert seen.ok
    assert seen.age_h_min > 0.0


def test_air_lost_altogether_leaves_the_dummies_alone() -> None:
    blind = replace(AIR, temperature_degC=nan, temperature_ok=False)
    state, seen = product.follow(PLAN, product.initial(PLAN, 20.0), frame(30.0, 31.0, nan, nan), blind, 60.0)
    assert state.temperatures_degC[0] == pytest.approx(30.0)
    assert all(t == t for t in state.temperatures_degC)
    assert seen.ok


def test_while_no_dummy_is_read_ages_stand_still_and_the_gap_is_bridged_afterwards() -> None:
    """Two hours blind from 20 to 30 degC: afterwards the age is that of the straight line, and it says so."""
    state, _ = go(product.initial(PLAN, 20.0), 60, 20.0, 20.0, 20.0, 20.0)
    before = state.ages_h
    state, seen = go(state, 7200, nan, nan, 30.0, 30.0, dt_s=10.0)
    assert state.ages_h == before
    assert (seen.ok, seen.word) == (False, "unknown")
    assert isnan(seen.core_degC)
    state, seen = go(state, 10, 30.0, 30.0, 30.0, 30.0, dt_s=10.0)
    bridged = maturity.integrate([h / 60 for h in range(121)], [20 + h / 12 for h in range(121)], RATE)
    assert seen.age_h_mean - before[0] == pytest.approx(bridged, rel=2e-3)
    assert seen.uncertain_h == pytest.approx(2.0, abs=0.01)
    assert seen.ok


def test_an_outage_of_hours_in_one_step_is_bridged_the_same_way() -> None:
    state, _ = go(product.initial(PLAN, 25.0), 60, 25.0, 25.0, 25.0, 25.0)
    _, seen = product.follow(PLAN, state, frame(35.0, 35.0, 35.0, 35.0), AIR, 3 * 3600.0)
    assert seen.age_h_mean == pytest.approx(RATE(25.0) / 60 + 3.0 * maturity.across_gap(RATE, 25.0, 35.0))
    assert seen.uncertain_h == pytest.approx(3.0)
    assert seen.age_h_min < seen.age_h_mean < seen.age_h_max


def test_step_size_does_not_change_the_age() -> None:
    readings = (31.0, 33.0, 30.0, 31.0)
    ages = [go(product.initial(PLAN, 31.0), 1800, *readings, dt_s=dt_s)[1].age_h_mean for dt_s in (1.0, 5.0, 60.0)]
    assert ages == pytest.approx([ages[0]] * 3, rel=1e-9)


def test_the_picture_is_the_same_object_between_looks() -> None:
    """Ten seconds between looks, so that most scans build nothing."""
    state = product.initial(PLAN, 30.0)
    pictures = []
    for _ in range(60):
        state, seen = product.follow(PLAN, state, frame(30.0, 30.0, 30.0, 30.0), AIR, 1.0)
        pictures.append(id(seen))
    assert len(set(pictures)) <= 7
    assert pictures[0] == pictures[8]


def test_the_state_survives_a_restart() -> None:
    state, _ = go(product.initial(PLAN, 30.0), 605, 30.0, 31.0, 30.0, 30.5)
    kept = json.loads(json.dumps(asdict(state), allow_nan=False))
    restored = product.ProductState(
        pending_s=kept["pending_s"],
        temperatures_degC=tuple(kept["temperatures_degC"]),
        ages_h=tuple(kept["ages_h"]),
        uncertain_s=kept["uncertain_s"],
        seen=product.Product(**kept["seen"]),
    )
    assert restored == state
    assert go(restored, 120, 30.0, 31.0, 30.0, 30.5) == go(state, 120, 30.0, 31.0, 30.0, 30.5)


@pytest.mark.parametrize(("core", "word"), [(36.0, "drying"), (28.0, "wetting"), (29.2, "neutral")])
def test_drying_is_said_in_words(core: float, word: str) -> None:
    """The dew point is 29.0: product warmer than it dries, colder gets wet, about as warm does neither."""
    _, seen = go(product.initial(PLAN, core), 60, core, core, 30.0, 30.0)
    assert seen.word == word
    assert (seen.drying_kg_per_m2h > 0.0) == (core > 29.5) or word == "neutral"


def test_product_warmer_than_the_air_dries_even_at_98_percent() -> None:
    """The effect that makes hydration dry the product: air 35 degC at 98 %RH, product at 39 degC."""
    moist = replace(
        AIR,
        temperature_degC=35.0,
        humidity_ratio=moistair.humidity_ratio(moistair.vapour_pressure_Pa(35.0, 98.0)),
    )
    assert product.drying_rate(PLAN, 39.0, moist) > 0.05
    assert product.drying_rate(PLAN, 30.0, moist) < 0.0


def test_drying_rate_is_h_m_times_the_difference_of_moisture() -> None:
    """Film 10 W/m2K at 9 kg/s; 3600 s * h / c_p * (0.98 Ws(34) - W), on a fifth of the face."""
    humid_kJ_per_kgK = 1.006 + 1.86 * AIR.humidity_ratio
    by_hand = 3600 * 0.010 / humid_kJ_per_kgK * (0.98 * moistair.saturation_ratio(34.0) - AIR.humidity_ratio) * 0.2
    assert product.drying_rate(PLAN, 34.0, AIR) == pytest.approx(by_hand, rel=1e-9)
    still = product.drying_rate(PLAN, 34.0, replace(AIR, airflow_kg_per_s=0.0))
    assert still == pytest.approx(0.3 * by_hand)
    assert product.drying_rate(PLAN, 34.0, replace(AIR, airflow_kg_per_s=nan)) == pytest.approx(by_hand)


def test_unknown_moisture_is_said_and_is_neither_wet_nor_dry() -> None:
    blind = replace(AIR, dew_point_degC=nan, humidity_ratio=nan, moisture_ok=False)
    _, seen = product.follow(PLAN, product.initial(PLAN, 30.0), frame(30.0, 30.0, 30.0, 30.0), blind, 60.0)
    assert isnan(seen.drying_kg_per_m2h)
    assert seen.word == "unknown"
    assert seen.ok  # temperatures are known


def test_ready_counts_occupied_positions_only() -> None:
    """The lower bay-1 half stands empty; ages of what is there decide."""
    plan = product.bind(CONFIG, MIX, POINTS, 2, 4, (False,) * 4 + (True,) * 4, PAIRS)
    state = product.initial(plan, 30.0)
    ages = (0.0,) * 4 + (31.0, 31.0, 29.0, 30.0)
    _, seen = go(replace(state, ages_h=ages), 60, 30.0, 30.0, 30.0, 30.0, plan=plan)
    assert seen.ready_fraction == 0.75
    assert seen.age_h_min > 29.0


def test_an_empty_chamber_has_nothing_ready() -> None:
    plan = product.bind(CONFIG, MIX, POINTS, 2, 4, (False,) * 8, PAIRS)
    _, seen = go(product.initial(plan, 30.0), 60, 30.0, 30.0, 30.0, 30.0, plan=plan)
    assert (seen.ready_fraction, seen.age_h_max, seen.given_off_kg_per_h) == (0.0, 0.0, 0.0)


def test_the_hottest_core_is_reported() -> None:
    _, seen = go(product.initial(PLAN, 30.0), 70, 30.0, 38.0, 30.0, 30.0)
    assert seen.core_degC_max >= 38.0
    assert seen.core_degC == pytest.approx(34.0)


def test_weights_of_places_sum_to_one_and_are_one_at_a_probe() -> None:
    probes = [(1, 3), (3, 10), (6, 3)]
    for place in places.positions(6, 12):
        assert sum(places.shares(place, probes)) == pytest.approx(1.0)
    assert places.shares((3, 10), probes) == (0.0, 1.0, 0.0)
    assert places.positions(6, 12)[13] == (2, 2)


def test_what_does_not_fit_is_refused_all_at_once() -> None:
    with pytest.raises(ConfigError) as refused:
        product.bind(CONFIG, MIX, POINTS[1:], 1, 4, (True,) * 3, PAIRS)
    fields = [problem.field for problem in refused.value.problems]
    assert fields == ["product.dummies[1].bay", "product.dummies[0].tag", "product.occupied"]
