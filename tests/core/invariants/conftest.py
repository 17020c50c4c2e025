"""A healthy scan as the invariants see it, one piece of which a test replaces by a bug."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest

from controller.core.actuation import actuation
from controller.core.alarms import alarms
from controller.core.alarms.alarms import AlarmsConfig, AlarmState
from controller.core.alarms.life import Life
from controller.core.climate import climate
from controller.core.climate.climate import Climate, ClimateConfig, Pair
from controller.core.equipment.actuators import Achieved, ActuationConfig
from controller.core.equipment.heaters import ElectricConfig, StageConfig
from controller.core.frames import Command, Event, Frame, Outputs
from controller.core.invariants import invariants
from controller.core.invariants.invariants import InvariantsConfig, Memory
from controller.core.loops.allocation import AllocationState
from controller.core.loops.loops import LoopState
from controller.core.points import Point
from controller.core.protection import protection
from controller.core.protection.protection import HEALTHY, ProtectionConfig, Verdict
from controller.core.sequence import sequence
from controller.core.sequence.recipe import ChamberLimits, End, Phase, Recipe
from controller.core.sequence.sequence import SequenceConfig, SequenceState
from controller.core.setpoints import Targets

PAIRS = (Pair(t="TT-101A", rh="MT-101A", bay=1, level=3), Pair(t="TT-101B", rh="MT-101B", bay=1, level=10))
CLIMATE = ClimateConfig(
    pairs=PAIRS, ceiling="TT-107", supply="TT-108", return_air="TT-109", hall="TT-110", outdoor_t="TT-111",
    outdoor_rh="MT-111", airflow="FT-101", fan_power="JT-101", heat_power="JT-103", fog_flow="FT-102",
)
PHASE = Phase(kind="hold", floor_degC=29.0, ceiling_degC=34.0, end=End(time_h=9.0))
PLAN = sequence.bind(SequenceConfig(), Recipe(name="trial", phases=(PHASE, PHASE)), ChamberLimits())
WAS = replace(sequence.initial(PLAN), state="running", phase=0, phase_s=10.0, cycle_s=10.0)
NOW = replace(WAS, phase_s=11.0, cycle_s=11.0)
ON: dict[str, float | bool] = {
    "SC_101": 75.0, "TCV_103": 40.0, "ZC_120": 5.0, "YC_101": True, "YC_103": True, "XV_102A": True,
}
NAN = float("nan")


@dataclass(frozen=True)
class Moment:
    """The state before or after the scan, as far as invariants look at it."""

    outputs: Outputs
    sequence: SequenceState
    allocation: AllocationState
    actuation: Any
    achieved: Achieved
    alarms: AlarmState
    memory: Memory


class Scene:
    """A healthy scan, one piece of which a test replaces by a bug."""

    def __init__(self, points: tuple[Point, ...], outputs: Outputs, frame: Frame, air: Climate) -> None:
        guard = protection.bind(ProtectionConfig(), points)
        drives = actuation.bind(ActuationConfig(), points)
        self.told = alarms.bind(AlarmsConfig(), points)
        self.plan = invariants.bind(
            InvariantsConfig(), points, guard, ActuationConfig(), ChamberLimits(), 1.0,
            climate=climate.bind(CLIMATE, points, 6, 12), actuation=drives, alarms=self.told, phases=PLAN.phases,
        )
        self.frame, self.air = frame, air
        still = actuation.initial(drives)
        self.before = Moment(
            outputs, WAS, AllocationState(LoopState(), LoopState()), replace(still, wanted=outputs),
            Achieved(60.0, 60.0, 1.0, 0.0, 0.0), alarms.initial(self.told), Memory(0, 7),
        )
        self.after = replace(self.before, sequence=NOW, memory=Memory(0, 8))
        self.targets: Targets = PLAN.phases[0].targets
        self.verdict: Verdict = HEALTHY
        self.commands: tuple[Command, ...] = ()
        self.events: tuple[Event, ...] = ()

    def write(self, outputs: Outputs) -> None:
        """What actuation asks for now, and gets."""
        self.after = replace(self.after, outputs=outputs, actuation=replace(self.after.actuation, wanted=outputs))

    def live(self, *tags: str) -> None:
        """These alarms are active."""
        lives = tuple((self.told.numbers[tag], Life(True, 9.0, True, True, False, 0.0)) for tag in tags)
        self.after = replace(self.after, alarms=replace(self.after.alarms, lives=lives))

    def broken(self) -> tuple[str, ...]:
        return invariants.check(
            self.plan, self.before, self.after, self.frame, self.air, self.targets, self.verdict, self.commands,
            self.events,
        )


@pytest.fixture
def scene(points: tuple[Point, ...], written: Callable[..., Outputs], frame: Frame, air: Climate) -> Scene:
    return Scene(points, written(**ON), frame, air)


@pytest.fixture
def staged(scene: Scene, points: tuple[Point, ...]) -> None:
    """The scene with an electric heater: no valve, one stage at YL-190."""
    guard = protection.bind(ProtectionConfig(heat_valve="", heat_stages=("YL-190",)), points)
    heat = ElectricConfig(kind="electric", stage=(StageConfig(tag="YL-190", kW=15.0),))
    drives = ActuationConfig(heat=heat)
    scene.plan = invariants.bind(
        InvariantsConfig(), points, guard, drives, ChamberLimits(), 1.0, climate=climate.bind(CLIMATE, points, 6, 12),
        actuation=actuation.bind(drives, points), alarms=scene.told, phases=PLAN.phases,
    )
