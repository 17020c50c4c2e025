"""Probes against their siblings: who is too far for too long is left out and told, and comes back when it agrees."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, replace
from typing import Any

import pytest

from controller.config.chamber import ChamberFile
from controller.config.find import find
from controller.config.loader import load
from controller.core.climate import climate, siblings
from controller.core.climate.moistair import dew_point_degC, relative_humidity_pct, vapour_pressure_Pa
from controller.core.climate.siblings import AGREED, APART, SiblingsConfig
from controller.core.climate.watched import Mask
from controller.core.frames import Event, Frame, Quality
from controller.core.points import Point, index_of, of_kind

CHAMBER = load(find("chamber", "demo-north"), ChamberFile)


class Hall:
    """The demo chamber's pairs, minute by minute."""

    def __init__(self, points: tuple[Point, ...], frame: Frame, **changes: float) -> None:
        self.columns, self.contacts = index_of(points, "AI"), index_of(points, "DI")
        watched = climate.bind(CHAMBER.climate, points, CHAMBER.bays, CHAMBER.levels, ())
        doors = tuple(self.contacts[tag] for tag in CHAMBER.protection.doors)
        tags = tuple(point.tag for point in of_kind(points, "AI"))
        config = SiblingsConfig(**changes)  # type: ignore[arg-type]
        self.plan = siblings.bind(config, watched, tags, self.contacts["FS-101"], doors)
        self.state, self.frame, self.now_s = AGREED, frame, 0.0
        self.mask: Mask | None = None
        self.seen = frame
        self.events: list[Event] = []

    def set(self, **values: float) -> None:
        changed = list(self.frame.values)
        for tag, value in values.items():
            changed[self.columns[tag.replace("_", "-")]] = value
        self.frame = replace(self.frame, values=tuple(changed))

    def contact(self, tag: str, closed: bool) -> None:
        states = list(self.frame.discrete)
        states[self.contacts[tag]] = closed
        self.frame = replace(self.frame, discrete=tuple(states))

    def minutes(self, count: int) -> None:
        for _ in range(count):
            self.now_s += 60.0
            self.state, self.seen, events = siblings.watch(
                self.plan, self.state, self.frame, self.mask, self.now_s, 1.0
            )
            self.events += events

    def out(self) -> list[str]:
        return [tag for tag, column in self.columns.items() if self.seen.reasons[column] == APART]


@pytest.fixture
def hall(points: tuple[Point, ...], frame: Frame) -> Hall:
    made = Hall(points, frame)
    for letter in "ABCDEFGH":
        made.set(**{f"TT_101{letter}": 30.0, f"MT_101{letter}": 96.0})
    return made


def test_probes_that_agree_cost_nothing_and_change_nothing(hall: Hall) -> None:
    hall.minutes(100)
    assert hall.seen is hall.frame
    assert hall.state.out == ()
    assert hall.events == []


@pytest.mark.parametrize(("tag", "value"), [("TT_101C", 35.5), ("TT_101C", 24.0), ("MT_101C", 82.0)])
def test_one_that_is_far_for_ten_minutes_is_left_out_and_told_with_figures(hall: Hall, tag: str, value: float) -> None:
    hall.set(**{tag: value})
    hall.minutes(9)
    assert hall.out() == []
    hall.minutes(1)
    assert hall.out() == [tag.replace("_", "-")]
    column = hall.columns[tag.replace("_", "-")]
    assert hall.seen.qualities[column] == Quality.UNCERTAIN
    assert hall.seen.values[column] == value
    assert len(hall.events) == 1
    assert "the median of all" in hall.events[0].text
    assert dict(hall.events[0].data) == {"disagrees": True}


def test_it_comes_back_after_it_has_agreed_for_as_long(hall: Hall) -> None:
    hall.set(TT_101C=35.5)
    hall.minutes(15)
    hall.set(TT_101C=30.2)
    hall.minutes(9)
    assert hall.out() == ["TT-101C"]
    hall.minutes(1)
    assert hall.out() == []
    assert hall.events[-1].text == "TT-101C agrees with its siblings again"


def test_it_is_out_to_the_last_of_its_time(points: tuple[Point, ...], frame: Frame) -> None:
    """60.5 s: out at the second look; a minute later half a second is left, so it comes back at the look after."""
    hall = Hall(points, frame, time_s=60.5)
    for letter in "ABCDEFGH":
        hall.set(**{f"TT_101{letter}": 30.0, f"MT_101{letter}": 96.0})
    hall.set(TT_101C=35.5)
    seen = []
    for minute in range(5):
        if minute == 2:
            hall.set(TT_101C=30.0)
        hall.minutes(1)
        seen.append(hall.out())
    assert seen == [[], ["TT-101C"], ["TT-101C"], [], []]


def test_a_humidity_is_not_blamed_for_the_temperature_of_its_own_body(hall: Hall) -> None:
    """A temperature 6 K too high makes the dew point of its pair 6 K too high as well."""
    hall.set(TT_101C=36.0)
    assert dew_point_degC(36.0, 96.0) - dew_point_degC(30.0, 96.0) > 5.0
    hall.minutes(30)
    assert hall.out() == ["TT-101C"]


def test_a_warm_place_with_the_same_moisture_has_another_humidity_and_that_is_right(hall: Hall) -> None:
    """4 K warmer at the same dew point: 76 instead of 96 %RH, and no fault."""
    there = relative_humidity_pct(34.0, vapour_pressure_Pa(30.0, 96.0))
    assert there < 80.0
    hall.set(TT_101C=34.0, MT_101C=there)
    hall.minutes(60)
    assert hall.out() == []


@pytest.mark.parametrize("contact", ["FS-101", "ZS-101B"])
def test_without_air_or_with_an_open_door_nobody_is_judged(hall: Hall, contact: str) -> None:
    hall.contact(contact, False)
    hall.set(TT_101C=20.0, MT_101D=60.0)
    hall.minutes(60)
    assert hall.out() == []
    hall.contact(contact, True)
    hall.minutes(10)
    assert sorted(hall.out()) == ["MT-101D", "TT-101C"]


def test_pairs_that_are_set_aside_are_not_judged(hall: Hall) -> None:
    """Bay 3 takes in cold boards: its two pairs are colder, and that is no fault of theirs."""
    hall.mask = Mask((True, True, False, False, True, True, True, True), (), ())
    hall.set(TT_101C=22.0, TT_101D=22.0)
    hall.minutes(60)
    assert hall.out() == []


def test_a_minority_at_most_is_left_out(hall: Hall) -> None:
    """Five of eight are moved: the median goes with them, three are apart; then one of the rest fails too."""
    hall.set(**{f"TT_101{letter}": 40.0 for letter in "ABCDE"})
    hall.minutes(20)
    assert hall.out() == ["TT-101F", "TT-101G", "TT-101H"]


@pytest.mark.parametrize("known", [2, 3])
def test_of_two_nobody_is_outvoted_of_three_one_may_be(hall: Hall, known: int) -> None:
    lost = [hall.columns[f"TT-101{letter}"] for letter in "ABCDEFGH"[known:]]
    qualities = [Quality.BAD if column in lost else quality for column, quality in enumerate(hall.frame.qualities)]
    hall.frame = replace(hall.frame, qualities=tuple(map(int, qualities)))
    hall.set(TT_101A=36.0)
    hall.minutes(60)
    assert hall.out() == ([] if known == 2 else ["TT-101A"])


def test_a_probe_that_fails_while_it_is_left_out_stays_so_until_it_has_agreed(hall: Hall) -> None:
    hall.set(TT_101C=36.0)
    hall.minutes(10)
    well = hall.frame.qualities
    broken = list(well)
    broken[hall.columns["TT-101C"]] = int(Quality.BAD)
    hall.frame = replace(hall.frame, qualities=tuple(broken))
    hall.minutes(60)
    assert hall.seen.qualities[hall.columns["TT-101C"]] == Quality.BAD
    hall.frame = replace(hall.frame, qualities=well)
    hall.set(TT_101C=30.0)
    hall.minutes(9)
    assert hall.out() == ["TT-101C"]
    hall.minutes(1)
    assert hall.out() == []


@pytest.mark.parametrize("what", ["temperature_K", "dew_point_K"])
def test_either_may_be_left_unjudged(points: tuple[Point, ...], frame: Frame, what: str) -> None:
    hall = Hall(points, frame, **{what: 0.0})
    for letter in "ABCDEFGH":
        hall.set(**{f"TT_101{letter}": 30.0, f"MT_101{letter}": 96.0})
    hall.set(TT_101A=22.0, MT_101B=60.0)
    hall.minutes(60)
    # With temperatures unjudged a cold body makes its own humidity look wrong, as it is for the dew point.
    assert hall.out() == (["MT-101A", "MT-101B"] if what == "temperature_K" else ["TT-101A"])


def test_what_is_said_names_quantity_and_both_values(hall: Hall) -> None:
    hall.set(TT_101C=36.0, MT_101D=70.0)
    hall.minutes(10)
    dew = dew_point_degC(30.0, 70.0)
    usual = dew_point_degC(30.0, 96.0)
    assert hall.events == [
        Event("note", "TT-101C", f"TT-101C {APART}; its temperature is 36.0 degC, the median of all 30.0 degC",
              (("disagrees", True),)),
        Event("note", "MT-101D",
              f"MT-101D {APART}; its dew point is {dew:.1f} degC, the median of all {usual:.1f} degC",
              (("disagrees", True),)),
    ]
    hall.set(TT_101C=30.0)
    hall.minutes(10)
    assert hall.events[2:] == [
        Event("note", "TT-101C", "TT-101C agrees with its siblings again", (("disagrees", False),))
    ]


def test_exactly_as_far_as_allowed_is_near_enough(hall: Hall) -> None:
    there = relative_humidity_pct(35.0, vapour_pressure_Pa(30.0, 96.0))
    hall.set(TT_101C=35.0, MT_101C=there)
    hall.minutes(30)
    assert hall.out() == []
    assert not any(hall.state.apart_s)
    hall.set(TT_101C=35.001)
    hall.minutes(10)
    assert hall.out() == ["TT-101C"]


def test_at_the_tolerance_its_body_still_counts_for_its_humidity(hall: Hall) -> None:
    """5 K warmer and as moist as it can be: the temperature agrees, so the dew point is judged and found too high."""
    hall.set(TT_101C=35.0)
    hall.minutes(10)
    assert hall.out() == ["MT-101C"]


def test_a_first_look_that_finds_all_near_compares_nothing(hall: Hall) -> None:
    """2 K between the outermost and dew points within a kelvin: no clock is kept."""
    hall.set(TT_101A=31.0, MT_101A=91.0)
    hall.minutes(5)
    assert hall.state is AGREED


def test_it_is_looked_at_in_the_scan_of_the_full_minute_only(hall: Hall) -> None:
    hall.set(TT_101C=36.0)
    for now_s in (59.0, 61.0, 119.0):
        assert siblings.watch(hall.plan, AGREED, hall.frame, None, now_s, 1.0)[0] is AGREED
    for now_s in (60.0, 120.0):
        assert any(siblings.watch(hall.plan, AGREED, hall.frame, None, now_s, 1.0)[0].apart_s)
    assert any(siblings.watch(hall.plan, AGREED, hall.frame, None, 61.0, 2.0)[0].apart_s)


def test_of_more_than_a_minority_the_farthest_are_left_out(hall: Hall) -> None:
    """Five that scatter on either side, the median among the rest: three of eight at most, those farthest away."""
    hall.set(TT_101A=20.0, TT_101B=22.0, TT_101C=24.0, TT_101D=37.0, TT_101E=39.0, TT_101F=30.0, TT_101G=30.5,
             TT_101H=31.0)
    hall.minutes(20)
    assert hall.out() == ["TT-101A", "TT-101B", "TT-101E"]


def test_one_that_has_failed_counts_as_least_far(hall: Hall) -> None:
    """Three are out when one of them fails and a fourth is apart: it is the failed one that makes room."""
    hall.set(TT_101A=20.0, TT_101B=21.0, TT_101C=22.0)
    hall.minutes(12)
    assert hall.out() == ["TT-101A", "TT-101B", "TT-101C"]
    qualities = list(hall.frame.qualities)
    qualities[hall.columns["TT-101A"]] = int(Quality.BAD)
    hall.frame = replace(hall.frame, qualities=tuple(qualities))
    hall.set(TT_101D=23.0)
    hall.minutes(12)
    assert hall.state.out == tuple(sorted(hall.columns[f"TT-101{letter}"] for letter in "BCD"))


def test_a_humidity_above_saturation_counts_as_saturated(points: tuple[Point, ...], frame: Frame) -> None:
    """All at 100 %RH and one at 118: the same dew point, because more than saturated no air of a chamber is."""
    hall = Hall(points, frame)
    for letter in "ABCDEFGH":
        hall.set(**{f"TT_101{letter}": 30.0, f"MT_101{letter}": 100.0})
    hall.set(MT_101C=118.0, TT_101A=36.0)
    hall.minutes(20)
    assert hall.out() == ["TT-101A"]
    assert hall.plan.ways[2](30.0, 100.4) == hall.plan.ways[2](30.0, 100.0)


def test_a_bad_humidity_has_no_dew_point(hall: Hall) -> None:
    """Its last value would disagree; it is bad already, and so neither out nor told."""
    qualities = list(hall.frame.qualities)
    qualities[hall.columns["MT-101C"]] = int(Quality.BAD)
    hall.frame = replace(hall.frame, qualities=tuple(qualities))
    hall.set(MT_101C=60.0)
    hall.minutes(30)
    assert hall.events == []


def test_a_first_minute_apart_counts_as_one_and_a_group_too_small_as_none(hall: Hall) -> None:
    hall.set(TT_101C=36.0)
    hall.minutes(1)
    place = hall.plan.temperatures.columns.index(hall.columns["TT-101C"])
    assert hall.state.apart_s == tuple(60.0 if number == place else 0.0 for number in range(16))
    qualities = [int(Quality.BAD) if column in hall.plan.temperatures.columns[2:] else 0
                 for column in range(len(hall.frame.qualities))]
    hall.frame = replace(hall.frame, qualities=tuple(qualities))
    hall.minutes(1)
    assert hall.state.apart_s == (0.0,) * 16


def test_what_is_left_out_changes_its_own_quality_and_nothing_else(hall: Hall) -> None:
    hall.set(TT_101C=36.0)
    hall.frame = replace(hall.frame, age_scans=2)
    hall.minutes(10)
    assert (hall.seen.values, hall.seen.discrete, hall.seen.age_scans) == (
        hall.frame.values, hall.frame.discrete, 2)
    assert sum(hall.seen.qualities) == 1


def test_the_state_is_plain_json(hall: Hall) -> None:
    hall.set(TT_101C=36.0)
    hall.minutes(10)
    json.dumps(asdict(hall.state), allow_nan=False)


def test_it_is_an_alarm_while_it_lasts(hall: Hall, panel: Any) -> None:
    hall.set(TT_101C=36.0)
    hall.minutes(10)
    well = panel.frame
    panel.frame = hall.seen
    panel.scan(2)
    assert panel.active == {"probe-disagrees"}
    panel.frame = well
    panel.scan(2)
    assert panel.active == set()


def test_of_two_pairs_that_differ_the_wetter_is_believed(
    points: tuple[Point, ...], hall: Hall, reading: Callable[..., Frame]
) -> None:
    """Two pairs left, at 90 and 96 %RH: the dew margin is that of the wetter one, so that boards stay dry."""
    plan = climate.bind(CHAMBER.climate, points, CHAMBER.bays, CHAMBER.levels, ())
    hall.set(MT_101A=90.0)
    for kept, expected in (("AB", 96.0), ("ABC", 96.0), ("A", 90.0)):
        lost = [hall.columns[f"MT-101{letter}"] for letter in "ABCDEFGH" if letter not in kept]
        qualities = [int(Quality.BAD) if column in lost else quality
                     for column, quality in enumerate(hall.frame.qualities)]
        values = [float("nan") if column in lost else value for column, value in enumerate(hall.frame.values)]
        frame = replace(hall.frame, qualities=tuple(qualities), values=tuple(values))
        _state, air = climate.observe(plan, climate.initial(plan), frame, 1.0)
        assert air.dew_point_degC == pytest.approx(dew_point_degC(30.0, expected), abs=1e-6)
