"""Each invariant catches the bug it is there for, and a healthy scan breaks none."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest

from controller.core import invariants, protection, sequence
from controller.core.actuators import ActuationConfig
from controller.core.allocation import AllocationState
from controller.core.climate import Climate
from controller.core.commands import CommandState
from controller.core.frames import Command, Frame, Outputs
from controller.core.invariants import NAMES, InvariantsConfig
from controller.core.loops import LoopState
from controller.core.points import Point
from controller.core.protection import HEALTHY, ProtectionConfig, Verdict
from controller.core.recipe import ChamberLimits, End, Phase, Recipe
from controller.core.sequence import SequenceConfig, SequenceState
from controller.core.setpoints import Targets

PHASE = Phase(kind="hold", floor_degC=29.0, ceiling_degC=34.0, end=End(time_h=9.0))
PLAN = sequence.bind(SequenceConfig(), Recipe(name="trial", phases=(PHASE, PHASE)), ChamberLimits())
WAS = replace(sequence.initial(PLAN), state="running", phase=0, phase_s=10.0, cycle_s=10.0)
NOW = replace(WAS, phase_s=11.0, cycle_s=11.0)
ON: dict[str, float | bool] = {
    "SC_101": 75.0, "TCV_103": 40.0, "ZC_120": 5.0, "YC_101": True, "YC_103": True, "XV_102A": True,
}
NAN = float("nan")


@dataclass(frozen=True)
class Past:
    """The state before the scan."""

    outputs: Outputs
    sequence: SequenceState
    allocation: AllocationState


class Scene:
    """A healthy scan, one piece of which a test replaces by a bug."""

    def __init__(self, points: tuple[Point, ...], outputs: Outputs, frame: Frame, air: Climate) -> None:
        self.plan = invariants.bind(
            InvariantsConfig(), points, protection.bind(ProtectionConfig(), points), ActuationConfig(),
            ChamberLimits(), 1.0,
        )
        self.outputs, self.frame, self.air = outputs, frame, air
        self.before = outputs
        self.was, self.now = WAS, NOW
        self.allocation = AllocationState(LoopState(), LoopState())
        self.targets: Targets = PLAN.phases[0].targets
        self.verdict: Verdict = HEALTHY
        self.commands: tuple[Command, ...] = ()

    def broken(self) -> tuple[str, ...]:
        return invariants.check(
            self.plan, Past(self.before, self.was, self.allocation), self.outputs, self.frame, self.air, self.now,
            self.targets, self.verdict, self.commands,
        )


@pytest.fixture
def scene(points: tuple[Point, ...], written: Callable[..., Outputs], frame: Frame, air: Climate) -> Scene:
    return Scene(points, written(**ON), frame, air)


def test_a_healthy_scan_breaks_nothing(scene: Scene) -> None:
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
    scene: Scene, written: Callable[..., Outputs], changes: dict[str, Any], name: str
) -> None:
    scene.outputs = written(**{**ON, **changes})
    assert name in scene.broken()


def test_a_fan_may_stop_at_once_and_start_at_its_slowest(scene: Scene, written: Callable[..., Outputs]) -> None:
    scene.before = written(SC_101=75.0, YC_101=True)
    scene.outputs = written()
    assert scene.broken() == ()
    scene.before, scene.outputs = scene.outputs, scene.before
    assert scene.broken() == ()


def test_a_jump_that_protection_forced_is_not_a_fault(scene: Scene, written: Callable[..., Outputs]) -> None:
    scene.outputs = written(**{**ON, "ZC_120": 100.0, "TCV_103": 0.0, "YC_103": False})
    assert scene.broken() == ("slew",)
    scene.verdict = replace(HEALTHY, forced=True, blocked=("heat",))
    assert scene.broken() == ()


def test_heat_without_proven_flow_is_caught(scene: Scene, opened: Callable[..., Frame]) -> None:
    scene.frame = opened("FS-101")
    assert scene.broken() == ("heat-without-air",)


@pytest.mark.parametrize("blocked", ["heat", "fog", "fan"])
def test_an_output_left_on_in_the_scan_of_its_trip_is_caught(scene: Scene, blocked: str) -> None:
    scene.verdict = replace(HEALTHY, blocked=(blocked,), trips=("any",))
    assert scene.broken() == ("tripped-output-on",)


@pytest.mark.parametrize(
    ("part", "changes"),
    [("air", {"temperature_ok": False}), ("air", {"moisture_ok": False}), ("frame", {"age_scans": 4})],
)
def test_regulating_on_a_bad_or_old_reading_is_caught(scene: Scene, part: str, changes: dict[str, Any]) -> None:
    setattr(scene, part, replace(getattr(scene, part), **changes))
    assert scene.broken() == ("bad-reading-used",)


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"state": "held"}, "procedure-edge"),
        ({"state": "held", "trail": ("held",)}, "procedure-edge"),
        ({"state": "idle", "trail": ("holding", "held")}, "procedure-edge"),
        ({"state": "holding", "trail": ("holding",), "phase": 1}, ""),
        ({"phase": -1}, "phase-fell"),
        ({"phase_s": 9.0}, "clock"),
        ({"phase_s": 12.1}, "clock"),
        ({"cycle_s": 9.0}, "clock"),
        ({"cycle_s": NAN}, "clock"),
        ({"held_s": -1.0}, "clock"),
        ({"floor_degC": 29.01}, "ramp-rate"),
        ({"floor_degC": 28.99}, "ramp-rate"),
        ({"floor_degC": NAN}, "ramp-rate"),
        ({"commands": CommandState(("a",), 1, 0)}, "command-outcome"),
    ],
)
def test_a_bug_in_the_sequence_is_caught(scene: Scene, changes: dict[str, Any], name: str) -> None:
    scene.now = replace(NOW, **changes)
    assert scene.broken() == ((name,) if name else ())


def test_a_clock_that_runs_while_stopped_is_caught(scene: Scene) -> None:
    scene.was = replace(WAS, state="held")
    scene.now = replace(NOW, state="held", held_s=1.0)
    assert scene.broken() == ("clock",)
    scene.now = replace(scene.was, phase=1, held_s=1.0)
    assert scene.broken() == ("phase-fell",)


def test_start_and_reset_may_put_clocks_back(scene: Scene) -> None:
    scene.was = replace(WAS, state="complete", phase=1)
    scene.now = replace(sequence.initial(PLAN), trail=("idle",))
    assert scene.broken() == ()


@pytest.mark.parametrize(
    ("commands", "after", "holds"),
    [
        (("a",), CommandState(("a",), 1, 0), True),
        (("a",), CommandState(("a",), 0, 0), False),
        (("a",), CommandState(("a",), 2, 0), False),
        (("a",), CommandState((), 1, 0), False),
        (("a", "b"), CommandState(("a", "b"), 2, 0), True),
        (("a", "a"), CommandState(("a",), 1, 1), True),
        (("a", "a"), CommandState(("a", "a"), 2, 0), False),
    ],
)
def test_a_command_without_its_one_outcome_is_caught(
    scene: Scene, commands: tuple[str, ...], after: CommandState, holds: bool
) -> None:
    scene.commands = tuple(Command(id_, "hold", "anna") for id_ in commands)
    scene.now = replace(NOW, commands=after)
    assert (scene.broken() == ()) is holds


def test_a_command_that_nobody_looked_at_is_caught(scene: Scene) -> None:
    scene.commands = (Command("a", "hold", "anna"),)
    scene.now = scene.was
    assert scene.broken() == ("command-outcome",)


@pytest.mark.parametrize("integral", [NAN, 1000.1, -1000.1, float("inf")])
@pytest.mark.parametrize("loop", ["temperature", "moisture"])
def test_an_unbounded_integral_is_caught(scene: Scene, integral: float, loop: str) -> None:
    scene.allocation = replace(scene.allocation, **{loop: LoopState(integral, 0.0)})
    assert scene.broken() == ("integrator",)


def test_a_floor_above_its_ceiling_is_caught(scene: Scene) -> None:
    scene.targets = replace(scene.targets, floor_degC=34.1)
    assert scene.broken() == ("band",)


def test_every_name_is_explained() -> None:
    assert all(NAMES.values())
