"""Each invariant of outputs and readings catches the bug it is there for, and a healthy scan breaks none."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.core.climate.climate import Climate
from controller.core.frames import Frame, Outputs, RawInputs
from controller.core.invariants import invariants
from controller.core.invariants.invariants import FRESH, NAMES, Memory
from controller.core.loops.loops import LoopState
from controller.core.points import Point, index_of
from controller.core.protection.protection import HEALTHY
from controller.core.signals.signals import HELD

ON: dict[str, float | bool] = {
    "SC_101": 75.0, "TCV_103": 40.0, "ZC_120": 5.0, "YC_101": True, "YC_103": True, "XV_102A": True,
}
NAN = float("nan")


def test_a_healthy_scan_breaks_nothing(scene: Any) -> None:
    assert scene.broken() == ()


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"TCV_103": NAN}, "output-range"),
        ({"SC_101": 100.1}, "output-range"),
        ({"ZC_120": -0.1}, "output-range"),
        ({"YC_101": False}, "heat-without-air"),
        ({"TCV_103": 43.0}, "slew"),
        ({"TCV_103": 37.0}, "slew"),
        ({"SC_101": 78.0}, "slew"),
        ({"ZC_120": 8.0}, "slew"),
    ],
)
def test_a_bug_in_the_outputs_is_caught(
    scene: Any, written: Callable[..., Outputs], changes: dict[str, Any], name: str
) -> None:
    scene.write(written(**{**ON, **changes}))
    assert name in scene.broken()


def test_a_fan_may_stop_at_once_and_start_at_its_slowest(scene: Any, written: Callable[..., Outputs]) -> None:
    scene.before = replace(scene.before, outputs=written(SC_101=75.0, YC_101=True))
    scene.write(written())
    assert scene.broken() == ()
    scene.before = replace(scene.before, outputs=written())
    scene.write(written(SC_101=25.0, YC_101=True))
    assert scene.broken() == ()
    scene.write(written(SC_101=75.0, YC_101=True))
    assert scene.broken() == ("slew",)


def test_protection_may_put_an_output_in_its_place_at_once_and_nowhere_else(
    scene: Any, written: Callable[..., Outputs]
) -> None:
    forced = written(**{**ON, "ZC_120": 100.0, "TCV_103": 0.0, "YC_103": False})
    scene.write(forced)
    assert scene.broken() == ("slew",)
    scene.verdict = replace(HEALTHY, forced=True, blocked=("heat",))
    assert scene.broken() == ()
    scene.write(written(**{**ON, "ZC_120": 60.0, "TCV_103": 0.0, "YC_103": False}))
    assert scene.broken() == ("slew",)


@pytest.mark.parametrize("changes", [{"TCV_103": 39.5}, {"YC_103": False}, {"XV_102A": False}, {"YC_106": True}])
def test_an_output_that_its_owner_did_not_ask_for_is_caught(
    scene: Any, written: Callable[..., Outputs], changes: dict[str, Any]
) -> None:
    scene.after = replace(scene.after, outputs=written(**{**ON, **changes}))
    assert scene.broken() == ("owner",)


@pytest.mark.parametrize(
    ("asked", "got", "holds"),
    [
        ({}, {"YC_103": False, "TCV_103": 0.0, "XV_102A": False}, True),
        ({"YC_103": False}, {}, False),
        ({"XV_102B": False}, {"XV_102B": True}, False),
        ({"TCV_103": 39.5}, {}, False),
    ],
)
def test_protection_takes_heat_and_fog_away_and_never_adds_any(
    scene: Any, written: Callable[..., Outputs], asked: dict[str, Any], got: dict[str, Any], holds: bool
) -> None:
    scene.write(written(**{**ON, **asked}))
    scene.after = replace(scene.after, outputs=written(**{**ON, **got}))
    scene.verdict = replace(HEALTHY, forced=True)
    assert ("owner" not in scene.broken()) is holds


@pytest.mark.parametrize("lamps", [{"YL_190": True}, {"YA_191": True}, {"YC_192": True}])
def test_beacon_horn_and_healthy_relay_belong_to_the_alarms(
    scene: Any, written: Callable[..., Outputs], lamps: dict[str, Any]
) -> None:
    scene.after = replace(scene.after, outputs=written(**{**ON, **lamps}))
    assert scene.broken() == ()


def test_heat_without_proven_flow_is_caught(scene: Any, opened: Callable[..., Frame]) -> None:
    scene.frame = opened("FS-101")
    assert scene.broken() == ("heat-without-air",)


@pytest.mark.parametrize("blocked", ["heat", "fog", "fan", "frame heat"])
def test_an_output_left_on_in_the_scan_of_its_trip_is_caught(
    scene: Any, written: Callable[..., Outputs], blocked: str
) -> None:
    scene.write(written(**ON, YC_106=True))
    scene.verdict = replace(HEALTHY, blocked=(blocked,))
    assert scene.broken() == ("tripped-output-on",)


def since(**by_cause: float) -> tuple[float, ...]:
    """Times of the causes in the order in which they are remembered."""
    order = ("air", "supply", "product", "emergency_stop", "limiter", "person_inside", "door")
    return tuple(by_cause.get(name, 0.0) for name in order)


@pytest.mark.parametrize(
    ("cause", "time_s", "off"),
    [
        ("air", 5.0, ("YC_103", "TCV_103")),
        ("supply", 10.0, ("YC_103", "TCV_103")),
        ("product", 60.0, ("YC_103", "TCV_103")),
        ("emergency_stop", 1.0, ("YC_103", "TCV_103", "XV_102A", "YC_101", "SC_101", "YC_106")),
        ("person_inside", 1.0, ("YC_103", "TCV_103", "XV_102A", "YC_101", "SC_101", "YC_106")),
        ("limiter", 1.0, ("YC_103", "TCV_103")),
        ("door", 1.0, ("XV_102A",)),
    ],
)
def test_a_cause_that_nothing_follows_is_caught_whatever_protection_says(
    scene: Any, written: Callable[..., Outputs], cause: str, time_s: float, off: tuple[str, ...]
) -> None:
    """Each of the outputs left on alone is caught; all of them off is right; before its delay nothing is asked."""
    on: dict[str, float | bool] = {**ON, "YC_106": True}
    rest = {tag: value for tag, value in on.items() if tag not in off}
    scene.after = replace(scene.after, memory=Memory(0, 8, since(**{cause: time_s})))
    for tag in off:
        left = written(**{**rest, tag: on[tag]})
        scene.before = replace(scene.before, outputs=left)
        scene.write(left)
        assert "cause-ignored" in scene.broken(), tag
    scene.before = replace(scene.before, outputs=written(**rest))
    scene.write(written(**rest))
    assert "cause-ignored" not in scene.broken()
    scene.write(written(**on))
    scene.after = replace(scene.after, memory=Memory(0, 8, since(**{cause: 0.0 if time_s == 1.0 else time_s - 1.0})))
    assert "cause-ignored" not in scene.broken()


def test_causes_are_timed_from_contacts_and_readings_and_forgotten_when_gone(
    scene: Any, opened: Callable[..., Frame], reading: Callable[..., Frame]
) -> None:
    raw = RawInputs((), (), 0, 9)

    def follow(memory: Memory, frame: Frame, air: Climate) -> Memory:
        return invariants.follow(scene.plan, memory, raw, frame, air, HEALTHY, scene.after.sequence, ())

    assert follow(FRESH, scene.frame, scene.air) == Memory(0, 9, (), 0)
    hot = replace(scene.air, hottest_degC=48.1)
    memory = follow(follow(FRESH, opened("ZS-101C"), scene.air), opened("ZS-101C", "HS-101"), hot)
    assert memory.since_s == since(air=1.0, emergency_stop=1.0, door=2.0)
    assert follow(memory, opened("HS-103", "TZS-103"), scene.air).since_s == since(limiter=1.0, person_inside=1.0)
    assert follow(memory, scene.frame, replace(scene.air, hottest_degC=NAN)).since_s == ()
    assert follow(FRESH, reading("TT-108", 60.1), scene.air).since_s == since(supply=1.0)
    assert follow(FRESH, reading("TT-104B", 58.1), scene.air).since_s == since(product=1.0)


@pytest.mark.parametrize(
    ("before", "now", "holds"),
    [
        (Memory(0, 7), Memory(0, 7), True),
        (Memory(0, 7), Memory(0, 6), False),
        (Memory(0, 2**32 - 1), Memory(0, 0), True),
        (Memory(0, 7), Memory(1, 7), True),
        (Memory(0, 7), Memory(2, 7), False),
        (Memory(5, 7), Memory(3, 7), True),
        (Memory(3, 7), Memory(0, 1), True),
        (Memory(3, 7), Memory(0, -1), True),
        (FRESH, Memory(0, 7), True),
    ],
)
def test_readings_age_scan_by_scan_and_the_device_counts_on(
    scene: Any, before: Memory, now: Memory, holds: bool
) -> None:
    """A device that restarted shows a lower counter: not in a frame that is taken right after a good one."""
    scene.before, scene.after = replace(scene.before, memory=before), replace(scene.after, memory=now)
    assert (scene.broken() == ()) is holds


@pytest.mark.parametrize(
    ("part", "changes"),
    [("air", {"temperature_ok": False}), ("air", {"moisture_ok": False}), ("frame", {"age_scans": 4})],
)
def test_regulating_on_a_bad_or_old_reading_is_caught(scene: Any, part: str, changes: dict[str, Any]) -> None:
    setattr(scene, part, replace(getattr(scene, part), **changes))
    assert scene.broken() == ("bad-reading-used",)


@pytest.mark.parametrize(
    ("bad", "reason", "holds"),
    [
        (("TT-101A",), "", True),
        (("TT-101A", "TT-101B"), "", False),
        (("MT-101A", "MT-101B"), "", False),
        (("TT-101A", "TT-101B"), HELD, True),
        (("TT-105A", "TT-105B"), "", True),
    ],
)
def test_heat_and_fog_need_one_good_probe_whatever_the_climate_says(
    scene: Any, points: tuple[Point, ...], bad: tuple[str, ...], reason: str, holds: bool
) -> None:
    columns = {index_of(points, "AI")[tag] for tag in bad}
    marks = [n in columns for n in range(len(scene.frame.values))]
    scene.frame = replace(
        scene.frame, qualities=tuple(2 * mark for mark in marks), reasons=tuple(reason * mark for mark in marks)
    )
    assert scene.broken() == (() if holds else ("bad-reading-used",))


@pytest.mark.parametrize("integral", [NAN, 1000.1, -1000.1, float("inf")])
@pytest.mark.parametrize("loop", ["temperature", "moisture"])
def test_an_unbounded_integral_is_caught(scene: Any, integral: float, loop: str) -> None:
    integrals = replace(scene.after.allocation, **{loop: LoopState(integral, 0.0)})
    scene.after = replace(scene.after, allocation=integrals)
    assert scene.broken() == ("integrator",)


def test_a_floor_above_its_ceiling_is_caught(scene: Any) -> None:
    scene.targets = replace(scene.targets, floor_degC=34.1)
    assert scene.broken() == ("band",)


def test_every_name_is_explained() -> None:
    assert all(NAMES.values())


def test_a_stage_of_an_electric_heater_that_is_on_without_air_is_caught(
    scene: Any, staged: None, written: Callable[..., Outputs]
) -> None:
    """A heater without a valve: every contact counts, and there is no stroke to watch."""
    still = {"SC_101": 75.0, "ZC_120": 5.0, "XV_102A": True}
    scene.write(written(**still, YL_190=True))
    assert "heat-without-air" in scene.broken()
    scene.write(written(**still, YL_190=True, YC_101=True))
    assert "heat-without-air" not in scene.broken()
