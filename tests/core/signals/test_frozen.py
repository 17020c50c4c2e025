"""Frozen channels: still for too long while air flows; wet, dead or merely slow ones are something else."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import nan

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
        frozen.bind(FrozenConfig(tags=("TT-999",), time_of={"TT-101A": 300.0}), points)
    assert "TT-999" in str(refused.value)
    assert "time_of.TT-101A" in str(refused.value)


def test_a_chamber_without_the_section_watches_nothing(points: tuple[Point, ...], frame: Frame) -> None:
    plan = frozen.bind(FrozenConfig(), points)
    state = frozen.initial(plan)
    assert frozen.watch(plan, state, frame, 60.0, 1.0) == (state, frame, ())
