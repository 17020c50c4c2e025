"""Frozen channels: still for too long while air flows; wet, dead or merely slow ones are something else."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import nan
from typing import Any

import pytest

from controller.core.frames import Event, Frame
from controller.core.points import Point, of_kind
from controller.core.signals import frozen
from controller.core.signals.frozen import FROZEN, FrozenConfig, FrozenState
from controller.errors import ConfigError

CONFIG = FrozenConfig(tags=("TT-101A", "MT-101A"), time_s=600.0, airflow="FS-101")


class Watch:
    """Two watched channels over minutes, values as the test says."""

    def __init__(self, points: tuple[Point, ...], frame: Frame, opened: Callable[..., Frame]) -> None:
        self.plan = frozen.bind(CONFIG, points)
        self.state: FrozenState = frozen.initial(self.plan)
        self.frame, self.still_air = frame, opened("FS-101")
        self.tags = [point.tag for point in of_kind(points, "AI")]
        self.now_s = 0.0
        self.events: list[Event] = []
        self.seen = frame

    def minute(self, temperature: float, humidity: float, *, air: bool = True, quality: int = 0) -> None:
        values = list(self.frame.values)
        values[self.tags.index("TT-101A")], values[self.tags.index("MT-101A")] = temperature, humidity
        qualities = list(self.frame.qualities)
        qualities[self.tags.index("TT-101A")] = quality
        base = self.frame if air else self.still_air
        for _scan in range(60):
            self.now_s += 1.0
            given = replace(base, values=tuple(values), qualities=tuple(qualities))
            self.state, self.seen, events = frozen.watch(self.plan, self.state, given, self.now_s, 1.0)
            self.events.extend(events)

    def reason(self, tag: str) -> str:
        return self.seen.reasons[self.tags.index(tag)]


@pytest.fixture
def watch(points: tuple[Point, ...], frame: Frame, opened: Callable[..., Frame]) -> Watch:
    return Watch(points, frame, opened)


def test_a_value_that_stays_is_frozen_after_its_time_and_told_once(watch: Watch) -> None:
    for minute in range(10):
        watch.minute(30.0, 90.0 + minute)
    assert watch.reason("TT-101A") == ""
    for minute in range(5):
        watch.minute(30.0, 90.1 + minute)
    assert watch.reason("TT-101A") == FROZEN
    assert watch.seen.qualities[watch.tags.index("TT-101A")] == 1
    assert watch.reason("MT-101A") == ""
    assert [event.tag for event in watch.events] == ["TT-101A"]


def test_it_is_good_again_when_it_moves(watch: Watch) -> None:
    for minute in range(12):
        watch.minute(30.0, float(minute))
    watch.minute(30.1, 20.0)
    assert watch.reason("TT-101A") == ""
    assert [dict(event.data)["frozen"] for event in watch.events] == [True, False]


def test_a_slow_drift_takes_the_reference_along(watch: Watch) -> None:
    """0.01 K a minute is more than the tolerance, though each scan shows the value of the scan before."""
    for minute in range(60):
        watch.minute(30.0 + 0.01 * minute, float(minute))
    assert not watch.events


def test_a_drift_below_the_tolerance_does_not_hide_behind_the_scan_before(watch: Watch) -> None:
    for minute in range(12):
        watch.minute(30.0 + 1e-5 * minute, float(minute))
    assert watch.reason("TT-101A") == FROZEN


def test_a_humidity_probe_at_its_top_is_wet_not_frozen(watch: Watch) -> None:
    for minute in range(30):
        watch.minute(30.0 + 0.1 * minute, 100.0)
    assert not watch.events


def test_without_air_flow_nothing_is_judged(watch: Watch) -> None:
    for minute in range(30):
        watch.minute(30.0, float(minute), air=False)
    assert not watch.events


def test_a_dead_channel_is_not_called_frozen(watch: Watch) -> None:
    for minute in range(30):
        watch.minute(nan, float(minute), quality=2)
    assert not watch.events
    assert watch.seen.qualities[watch.tags.index("TT-101A")] == 2


def test_unknown_tags_are_refused_by_name(points: tuple[Point, ...]) -> None:
    with pytest.raises(ConfigError) as refused:
        frozen.bind(FrozenConfig(tags=("TT-999",), time_of={"TT-101A": 300.0}, airflow="FS-999"), points)
    found = {problem.field: (problem.value, problem.limit, problem.remedy) for problem in refused.value.problems}
    assert found == {
        "frozen.tags": ("TT-999", "not an AI point of the point list", "add the point or correct the tag"),
        "frozen.time_of.TT-101A": ("TT-101A", "must be one of the tags watched", "add it to tags or leave it out"),
        "frozen.airflow": ("FS-999", "not an DI point of the point list", "add the point or correct the tag"),
    }


def one(points: tuple[Point, ...], tag: str, **config: Any) -> frozen.FrozenPlan:
    return frozen.bind(FrozenConfig(tags=(tag,), airflow="FS-101", **config), points)


def minutes(plan: frozen.FrozenPlan, frame: Frame, *values: float) -> tuple[Frame, list[Event]]:
    """The frame after as many minutes, seen in scans of two seconds; the first scan is at 2 s."""
    state, now_s, told = frozen.initial(plan), 0.0, []
    for value in values:
        given = replace(frame, values=tuple(
            value if column in plan.columns else other for column, other in enumerate(frame.values)
        ))
        for _scan in range(30):
            now_s += 2.0
            state, seen, events = frozen.watch(plan, state, given, now_s, 2.0)
            told += events
    return seen, told


def test_tolerance_and_exempt_level_are_shares_of_the_span_from_its_lower_end(points: tuple[Point, ...]) -> None:
    point = next(point for point in points if point.tag == "TT-101A")
    plan = one(points, "TT-101A", tolerance_pct=0.5, exempt_from_pct=90.0)
    span = point.hi - point.lo
    assert point.lo != 0.0
    assert plan.tolerances == pytest.approx((0.005 * span,))
    assert plan.exempt == pytest.approx((point.lo + 0.9 * span,))


@pytest.mark.parametrize("offset", [-1.8, 1.8])
def test_a_corrected_probe_at_the_top_of_its_transmitter_is_wet_and_not_frozen(
    points: tuple[Point, ...], frame: Frame, offset: float
) -> None:
    config = FrozenConfig(tags=("MT-101A",), time_s=120.0, airflow="FS-101")
    plan = frozen.bind(config, points, {"MT-101A": offset})
    column = [point.tag for point in of_kind(points, "AI")].index("MT-101A")
    for value, judged in ((100.0 + offset, False), (98.9 + offset, True)):
        state, values = frozen.initial(plan), list(frame.values)
        values[column] = value
        for minute in range(1, 20):
            state, seen, _told = frozen.watch(plan, state, replace(frame, values=tuple(values)), 60.0 * minute, 1.0)
        assert (seen.reasons[column] == FROZEN) is judged


def test_a_channel_may_have_a_time_of_its_own(points: tuple[Point, ...], frame: Frame) -> None:
    plan = frozen.bind(
        FrozenConfig(tags=("TT-101A", "TT-101B"), time_s=600.0, time_of={"TT-101B": 120.0}, airflow="FS-101"), points
    )
    assert plan.times_s == (600.0, 120.0)
    assert [event.tag for event in minutes(plan, frame, *[30.0] * 5)[1]] == ["TT-101B"]


def test_the_first_minute_only_sets_the_reference_and_the_time_itself_is_enough(
    points: tuple[Point, ...], frame: Frame
) -> None:
    plan = one(points, "TT-101A", time_s=120.0)
    assert minutes(plan, frame, 30.0, 30.0)[1] == []
    assert [event.tag for event in minutes(plan, frame, 30.0, 30.0, 30.0)[1]] == ["TT-101A"]


def test_a_time_between_two_looks_is_over_at_the_later_one(points: tuple[Point, ...], frame: Frame) -> None:
    plan = one(points, "TT-101A", time_s=120.5)
    assert minutes(plan, frame, *[30.0] * 3)[1] == []
    assert len(minutes(plan, frame, *[30.0] * 4)[1]) == 1


def test_one_that_moved_waits_for_its_whole_time_again(points: tuple[Point, ...], frame: Frame) -> None:
    plan = one(points, "TT-101A", time_s=120.0)
    assert minutes(plan, frame, 30.0, 30.0, 31.0, 31.0)[1] == []


def test_within_the_tolerance_is_still_and_at_the_exempt_level_is_exempt(
    points: tuple[Point, ...], frame: Frame
) -> None:
    plan = one(points, "TT-101A", time_s=120.0, tolerance_pct=0.5, exempt_from_pct=90.0)
    step, top = plan.tolerances[0], plan.exempt[0]
    assert len(minutes(plan, frame, 0.0, step, 0.0)[1]) == 1
    assert minutes(plan, frame, 0.0, 1.001 * step, 0.0)[1] == []
    assert minutes(plan, frame, top, top, top, top)[1] == []


def test_what_it_says_when_it_stops_and_when_it_moves(points: tuple[Point, ...], frame: Frame) -> None:
    plan = one(points, "TT-101A", time_s=120.0)
    assert minutes(plan, frame, *[30.0] * 4, 31.0)[1] == [
        Event("note", "TT-101A", f"TT-101A {FROZEN}", (("frozen", True),)),
        Event("note", "TT-101A", "TT-101A moves again", (("frozen", False),)),
    ]


def test_a_frozen_channel_changes_its_own_quality_and_nothing_else(points: tuple[Point, ...], frame: Frame) -> None:
    plan = one(points, "TT-101A", time_s=120.0)
    aged = replace(frame, age_scans=3, discrete=(True, False) * (len(frame.discrete) // 2) + (True,) * (
        len(frame.discrete) % 2))
    aged = replace(aged, discrete=tuple(on or n == plan.airflow for n, on in enumerate(aged.discrete)))
    seen, _told = minutes(plan, aged, *[25.0] * 4)
    assert (seen.values, seen.discrete, seen.age_scans) == (aged.values, aged.discrete, 3)
    assert [number for number, reason in enumerate(seen.reasons) if reason] == list(plan.columns)
    assert sum(seen.qualities) == 1


def test_while_nothing_is_frozen_the_frame_is_passed_on(points: tuple[Point, ...], frame: Frame) -> None:
    plan = one(points, "TT-101A")
    assert frozen.watch(plan, frozen.initial(plan), frame, 60.0, 1.0)[1] is frame


def test_a_chamber_without_the_section_watches_nothing(points: tuple[Point, ...], frame: Frame) -> None:
    plan = frozen.bind(FrozenConfig(), points)
    state = frozen.initial(plan)
    assert frozen.watch(plan, state, frame, 60.0, 1.0) == (state, frame, ())


def test_a_frozen_channel_that_is_bad_anyhow_stays_bad(frame: Frame) -> None:
    bad = replace(frame, qualities=(2, *frame.qualities[1:]), reasons=("wire broken", *frame.reasons[1:]))
    seen = frozen._marked(bad, (0, 1))
    assert seen.qualities[:3] == (2, 1, 0)
    assert seen.reasons[:3] == ("wire broken", FROZEN, "")
