"""What the chamber is like, from made-up frames: dew point per pair, coldest surface by name, NaN kept out."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import astuple, replace
from math import isnan, nan
from random import Random

import pytest

from controller.core.climate import climate, moistair
from controller.core.frames import Frame, Quality
from controller.core.points import Point
from controller.core.signals import signals
from controller.errors import ConfigError

LETTERS = "ABCDEFGH"
PLACES = ((1, 3), (1, 10), (3, 3), (3, 10), (4, 3), (4, 10), (6, 3), (6, 10))
OTHERS = {
    "TT-107": 30.0,
    "TT-108": 31.0,
    "TT-109": 29.5,
    "TT-110": 18.0,
    "TT-111": 8.0,
    "MT-111": 80.0,
    "FT-101": 9.0,
    "JT-101": 4.0,
    "JT-103": 20.0,
    "FT-102": 5.0,
}
NORMAL = (
    {f"TT-101{letter}": 30.0 for letter in LETTERS}
    | {f"MT-101{letter}": 95.0 for letter in LETTERS}
    | {f"TT-105{letter}": 29.8 for letter in "ABCD"}
    | {"TT-106A": 29.9, "TT-106B": 29.9}
    | OTHERS
)
TAGS = tuple(NORMAL)
POINTS = tuple(
    Point(tag=tag, kind="AI", text="", device="panel", address=column, signal="4-20mA")
    for column, tag in enumerate(TAGS)
)
CONFIG = climate.ClimateConfig(
    pairs=tuple(
        climate.Pair(t=f"TT-101{letter}", rh=f"MT-101{letter}", bay=bay, level=level)
        for letter, (bay, level) in zip(LETTERS, PLACES, strict=True)
    ),
    boards=tuple(climate.BoardProbe(tag=f"TT-105{c}", bay=bay) for c, bay in zip("ABCD", (1, 2, 5, 6), strict=True)),
    frames=(climate.FrameProbe(tag="TT-106A", bay=1), climate.FrameProbe(tag="TT-106B", bay=6)),
    ceiling="TT-107",
    supply="TT-108",
    return_air="TT-109",
    hall="TT-110",
    outdoor_t="TT-111",
    outdoor_rh="MT-111",
    airflow="FT-101",
    fan_power="JT-101",
    heat_power="JT-103",
    fog_flow="FT-102",
)
PLAN = climate.bind(CONFIG, POINTS, 6, 12)
BOARDS = {f"TT-105{letter}": nan for letter in "ABCD"}
SURFACES = BOARDS | {"TT-106A": nan, "TT-106B": nan, "TT-107": nan}
AIRS = {f"TT-101{letter}": nan for letter in LETTERS}


def frame(changes: Mapping[str, float] = {}, *, age: int = 0, uncertain: tuple[str, ...] = ()) -> Frame:
    """A normal frame with some readings changed; NaN is a BAD reading."""
    values = tuple((NORMAL | dict(changes))[tag] for tag in TAGS)
    qualities = [Quality.BAD if isnan(value) else Quality.GOOD for value in values]
    for tag in uncertain:
        qualities[TAGS.index(tag)] = Quality.UNCERTAIN
    if age:
        qualities = [max(quality, Quality.UNCERTAIN) for quality in qualities]
    reasons = tuple(signals.HELD if age and quality == Quality.UNCERTAIN else "" for quality in qualities)
    return Frame(values, tuple(int(quality) for quality in qualities), reasons, (), age)


def look(changes: Mapping[str, float] = {}, plan: climate.ClimatePlan = PLAN, **how: object) -> climate.Climate:
    """The climate of one frame, seen for the first time."""
    seen = frame(changes, **how)  # type: ignore[arg-type]
    return climate.observe(plan, climate.initial(plan), seen, 1.0)[1]


def test_an_even_chamber_is_read_as_it_is() -> None:
    air = look()
    assert (air.temperature_degC, air.coldest_degC, air.hottest_degC) == pytest.approx((30.0, 30.0, 30.0))
    assert air.spread_K == 0.0
    assert air.dew_point_degC == pytest.approx(moistair.dew_point_degC(30.0, 95.0), abs=1e-9)
    assert air.rh_pct == pytest.approx(95.0)
    assert air.humidity_ratio == pytest.approx(moistair.saturation_ratio(air.dew_point_degC))
    assert air.outdoor_humidity_ratio == pytest.approx(moistair.humidity_ratio(moistair.vapour_pressure_Pa(8.0, 80.0)))
    others = (air.supply_degC, air.return_degC, air.hall_degC, air.outdoor_degC, air.airflow_kg_per_s)
    assert others == (31.0, 29.5, 18.0, 8.0, 9.0)
    assert (air.fan_kW, air.heat_kW, air.fog_kg_per_h) == (4.0, 20.0, 5.0)
    assert (air.temperature_ok, air.moisture_ok, air.surface_ok) == (True, True, True)


def test_dew_point_is_formed_in_each_body_before_anything_is_averaged() -> None:
    """One moisture, eight temperatures 2 K apart: every pair gives the same dew point, means of T and RH do not."""
    vapour = moistair.vapour_pressure_Pa(30.0, 90.0)
    changes: dict[str, float] = {}
    for index, letter in enumerate(LETTERS):
        temperature = 29.0 + 2.0 * index / 7.0
        changes[f"TT-101{letter}"] = temperature
        changes[f"MT-101{letter}"] = moistair.relative_humidity_pct(temperature, vapour)
    air = look(changes)
    assert air.dew_point_degC == pytest.approx(moistair.dew_point_degC(30.0, 90.0), abs=1e-9)
    assert air.rh_pct == pytest.approx(90.0, abs=1e-6)
    assert air.spread_K == pytest.approx(2.0)


def test_dew_point_is_the_median_over_pairs() -> None:
    """Pairs one kelvin of dew point apart: the middle two are averaged; a pair far off moves nothing."""
    changes: dict[str, float] = {f"TT-101{letter}": 27.0 for letter in LETTERS}
    for index, letter in enumerate(LETTERS):
        changes[f"MT-101{letter}"] = moistair.relative_humidity_pct(27.0, moistair.saturation_pressure_Pa(19.0 + index))
    assert look(changes).dew_point_degC == pytest.approx(22.5, abs=0.01)
    assert look(changes | {"MT-101A": 0.0}).dew_point_degC == pytest.approx(22.5, abs=0.01)
    assert look(changes | {"MT-101H": nan}).dew_point_degC == pytest.approx(22.0, abs=1e-6)
    assert look(changes | {"TT-101H": nan}).dew_point_degC == pytest.approx(22.0, abs=1e-6)


def test_a_probe_above_100_percent_counts_as_saturated() -> None:
    wet = {f"MT-101{letter}": 102.5 for letter in LETTERS}
    assert look(wet).dew_point_degC == pytest.approx(30.0, abs=1e-9)
    assert look(wet | {"TT-107": nan}).dew_point_degC == pytest.approx(30.0, abs=1e-9)


@pytest.mark.parametrize(
    ("tag", "name"),
    [
        ("TT-105A", "board bay 1 level 1"),
        ("TT-105D", "board bay 6 level 1"),
        ("TT-106B", "door frame bay 6"),
        ("TT-107", "ceiling"),
    ],
)
def test_the_coldest_surface_is_found_and_named(tag: str, name: str) -> None:
    """Seen after estimates have begun warm, so that a measured surface is the coldest."""
    state, _ = climate.observe(PLAN, climate.initial(PLAN), frame(), 1.0)
    _, air = climate.observe(PLAN, state, frame({tag: 27.0}), 1.0)
    assert air.surface == name
    assert air.surface_degC == 27.0
    assert air.dew_limit_degC == pytest.approx(27.0 - CONFIG.margin_K)
    assert air.dew_margin_K == pytest.approx(27.0 - air.dew_point_degC)


def test_a_board_without_a_probe_is_an_estimate_with_its_reserve_stated() -> None:
    """Bays 3 and 4 have none; at first they are taken as cold as the coldest board, less the reserve."""
    air = look()
    assert air.surface == "board bay 3 level 1, estimated, reserve 0.15 K"
    assert air.surface_degC == pytest.approx(29.8 - 0.15)


def settle(state: climate.ClimateState, seen: Frame, seconds: int) -> tuple[climate.ClimateState, climate.Climate]:
    for _ in range(seconds):
        state, air = climate.observe(PLAN, state, seen, 1.0)
    return state, air


def test_estimated_boards_lag_the_air_of_their_own_bay() -> None:
    """A step of 2 K in bay 4's lower probe: after one lag (0.7 h at 9 kg/s) its board has gone 63 % of the way."""
    warm = {"TT-105A": 30.0, "TT-105B": 30.0, "TT-105C": 30.0, "TT-105D": 30.0, "TT-106A": 30.0, "TT-106B": 30.0}
    state, _ = climate.observe(PLAN, climate.initial(PLAN), frame(warm), 1.0)
    _, air = settle(state, frame(warm | {"TT-101E": 28.0}), int(0.7 * 3600))
    assert air.surface == "board bay 4 level 1, estimated, reserve 0.15 K"
    assert air.surface_degC == pytest.approx(30.0 - 2.0 * 0.632 - 0.15, abs=0.02)


def test_boards_lag_longer_in_slow_air() -> None:
    """Half the flow is 1.5 times the lag; an unknown flow counts as the nominal one."""
    found = []
    for flow in (9.0, 4.5, nan):
        state, _ = climate.observe(PLAN, climate.initial(PLAN), frame(), 1.0)
        seen = frame({"TT-101E": 28.0, "FT-101": flow})
        found.append(settle(state, seen, 1800)[0].estimated_degC[3])
    assert found[0] < found[1] - 0.1
    assert found[2] == pytest.approx(found[0])


def test_measured_boards_colder_than_their_estimates_pull_the_others_down() -> None:
    """Cold product keeps all boards cold; the unseen ones must not be thought warmer than the seen ones."""
    state, _ = climate.observe(PLAN, climate.initial(PLAN), frame(), 1.0)
    cold = {f"TT-105{letter}": 26.0 for letter in "ABCD"}
    state, air = settle(state, frame(cold), 60)
    assert air.surface == "board bay 3 level 1, estimated, reserve 0.15 K"
    assert air.surface_degC == pytest.approx(26.0 - 0.15, abs=0.02)
    warm = {f"TT-105{letter}": 29.95 for letter in "ABCD"}
    _, air = settle(state, frame(warm), 60)
    assert air.surface_degC < 29.8  # warmer ones do not lift them


def test_a_board_probe_that_fails_is_replaced_by_the_estimate_of_its_bay() -> None:
    state, _ = climate.observe(PLAN, climate.initial(PLAN), frame(), 1.0)
    _, air = settle(state, frame({"TT-105A": nan, "TT-101A": 27.0}), 3600)
    assert air.surface == "board bay 1 level 1, estimated, reserve 0.15 K"


def test_without_any_surface_probe_the_coldest_air_stands_in_with_a_bigger_reserve() -> None:
    air = look(SURFACES | {"TT-101C": 29.0})
    assert air.surface == "no surface probe is good: coldest air, reserve 1.5 K"
    assert air.surface_degC == pytest.approx(29.0 - 1.5)
    assert air.surface_ok


def test_when_nothing_is_known_nothing_is_claimed() -> None:
    air = look(dict.fromkeys(TAGS, nan))
    assert (air.temperature_ok, air.moisture_ok, air.surface_ok) == (False, False, False)
    assert air.surface == "unknown"
    numbers = [value for value in astuple(air) if isinstance(value, float)]
    assert all(isnan(value) for value in numbers)


def test_estimates_go_on_when_the_air_is_lost() -> None:
    state, _ = climate.observe(PLAN, climate.initial(PLAN), frame(), 1.0)
    later, air = settle(state, frame(AIRS), 120)
    assert later.estimated_degC == state.estimated_degC
    assert air.surface_ok
    assert not air.temperature_ok
    assert not air.moisture_ok


@pytest.mark.parametrize("tag", TAGS)
def test_one_bad_reading_never_leaks_into_the_others(tag: str) -> None:
    """Whatever probe is lost, mean, dew point and surface stay what they were."""
    air, whole = look({tag: nan}), look()
    assert air.temperature_degC == pytest.approx(whole.temperature_degC)
    assert air.dew_point_degC == pytest.approx(whole.dew_point_degC)
    assert air.surface_degC == pytest.approx(whole.surface_degC)
    assert (air.temperature_ok, air.moisture_ok, air.surface_ok) == (True, True, True)


def test_uncertain_readings_are_left_out() -> None:
    assert look({"TT-101A": 26.0}, uncertain=("TT-101A",)).coldest_degC == 30.0
    assert look({"TT-105A": 20.0}, uncertain=("TT-105A",)).surface_degC > 29.0


def test_readings_held_over_a_short_silence_still_serve() -> None:
    held, fresh = look(age=2), look()
    assert held == fresh


def test_an_air_probe_far_from_all_others_is_left_out() -> None:
    air = look({"TT-101B": 12.0})
    assert air.temperature_degC == pytest.approx(30.0)
    assert air.coldest_degC == 30.0


def test_empty_bays_weigh_less_and_their_boards_are_not_watched() -> None:
    plan = climate.bind(CONFIG, POINTS, 6, 12, empty_bays=(1, 4))
    air = look({"TT-101A": 33.0, "TT-101B": 33.0, "TT-105A": 20.0}, plan)
    assert air.temperature_degC == pytest.approx(30.0 + 3.0 * 0.6 / (4 + 4 * 0.3))
    assert air.surface_degC > 29.0
    assert "bay 1 level" not in " ".join(plan.surface_names + plan.estimate_names)


def test_the_state_survives_a_checkpoint() -> None:
    state, _ = settle(climate.initial(PLAN), frame({"TT-105A": 28.0}), 45)
    since_s, estimated, bias_K = json.loads(json.dumps(astuple(state), allow_nan=False))
    assert climate.ClimateState(since_s, tuple(estimated), bias_K) == state


def test_the_memory_of_saturation_pressures_changes_no_result() -> None:
    changes = {"TT-101A": 30.123, "MT-101A": 91.0}
    assert look(changes) == look(changes, climate.bind(CONFIG, POINTS, 6, 12))


def test_tags_and_places_that_do_not_exist_are_refused_all_at_once() -> None:
    with pytest.raises(ConfigError) as refused:
        climate.bind(CONFIG, POINTS[1:-1], 5, 12)
    fields = [problem.field for problem in refused.value.problems]
    assert "climate.pairs[0].t" in fields
    assert "climate.fog_flow" in fields
    assert {"climate.pairs[6].bay", "climate.boards[3].bay", "climate.frames[1].bay"} <= set(fields)


@pytest.mark.parametrize("seed", range(20))
def test_the_quick_way_is_the_slow_way(seed: int) -> None:
    """A plan that never believes a frame to be healthy must come to the same picture, over scans that differ."""
    random = Random(seed)
    slow_plan = replace(PLAN, good=(), used=lambda _: (1,))
    quick = slow = climate.initial(PLAN)
    for _ in range(70):
        seen = frame({tag: NORMAL[tag] + random.uniform(-2.0, 2.0) for tag in TAGS})
        quick, air = climate.observe(PLAN, quick, seen, 1.0)
        slow, slow_air = climate.observe(slow_plan, slow, seen, 1.0)
        assert quick == slow
        assert air.surface == slow_air.surface
        assert [x for x in astuple(air) if x != air.surface] == pytest.approx(
            [x for x in astuple(slow_air) if x != slow_air.surface], rel=1e-12
        )
