"""What counts as given back: by whose order, and what an output has to do with it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.core.frames import Command, Outputs
from controller.core.invariants.invariants import Memory
from controller.core.invariants.taken import follow_taken
from controller.core.protection.protection import HEALTHY
from controller.core.rows.protection import FAN, FOG, FRAME, HEAT, taken
from controller.core.sequence import sequence
from controller.core.sequence.recipe import ChamberLimits, End, Phase, Recipe
from controller.core.sequence.sequence import SequenceConfig, SequenceState

PLAN = sequence.bind(
    SequenceConfig(), Recipe(name="trial", phases=(Phase(kind="hold", floor_degC=29.0, ceiling_degC=34.0,
                                                         end=End(time_h=9.0)),)), ChamberLimits(),
)  # fmt: skip
ALL = HEAT | FOG | FAN | FRAME
LIMITER_OPEN = (0.0, 0.0, 0.0, 0.0, 2.0, 0.0, 0.0)


def state(name: str, *trail: str) -> SequenceState:
    return replace(sequence.initial(PLAN), state=name, trail=trail)


@pytest.mark.parametrize(
    ("before", "since_s", "trips", "now", "verbs", "after"),
    [
        (0, (), ("person-inside",), state("running"), (), ALL),
        (0, (), ("limiter", "door-open"), state("held"), (), HEAT),
        (0, (), ("airflow-lost", "air-too-hot", "watchdog"), state("held"), (), 0),
        (0, LIMITER_OPEN, (), state("running"), (), HEAT),
        (ALL, (), (), state("held"), ("reset-trips", "force", "manual", "acknowledge"), ALL),
        (ALL, (), (), state("stopping", "stopping"), ("stop",), ALL),
        (ALL, (), (), state("restarting", "restarting"), ("restart",), 0),
        (ALL, (), (), state("holding", "restarting", "holding"), ("restart", "hold"), 0),
        (ALL, (), (), state("running", "running"), ("start",), 0),
        (ALL, (), ("limiter",), state("running", "running"), ("start",), HEAT),
        (ALL, (), (), state("idle", "idle"), ("reset",), ALL),
        (ALL, (), (), state("idle"), ("trim",), ALL),
        (ALL, (), (), state("idle"), ("force",), 0),
        (ALL, (), (), state("aborted"), ("reset-trips", "manual"), 0),
        (ALL, (), ("emergency-stop",), state("idle"), ("force",), ALL),
    ],
)  # fmt: skip
def test_only_a_start_a_restart_and_at_rest_a_hand_give_back(
    before: int, since_s: tuple[float, ...], trips: tuple[str, ...], now: SequenceState,
    verbs: tuple[str, ...], after: int,
) -> None:
    commands = tuple(Command(verb, verb, "ana") for verb in verbs)
    assert follow_taken(before, since_s, trips, now, commands) == after


@pytest.mark.parametrize(
    ("bits", "on", "name", "broken"),
    [
        (HEAT, {"YC_103": True, "YC_101": True}, "held", True),
        (HEAT, {"TCV_103": 1.0, "YC_101": True}, "held", True),
        (FOG, {"XV_102B": True}, "held", True),
        (FAN, {"YC_101": True}, "aborted", True),
        (FAN, {"SC_101": 1.0}, "idle", True),
        (FRAME, {"YC_106": True}, "stopped", True),
        (FRAME, {"YC_106": True}, "idle", False),
        (HEAT, {"YC_101": True, "SC_101": 50.0, "XV_102A": True, "YC_106": True, "ZC_120": 100.0}, "held", False),
        (ALL, {"ZC_120": 100.0}, "held", False),
        (0, {"YC_101": True, "YC_103": True}, "running", False),
    ],
)
def test_what_was_taken_and_is_on_is_named(
    scene: Any, written: Callable[..., Outputs], bits: int, on: dict[str, float | bool], name: str, broken: bool
) -> None:
    here = replace(scene.before.sequence, state=name)
    scene.before = replace(scene.before, sequence=here, outputs=written(**on))
    scene.after = replace(scene.after, sequence=here, memory=Memory(0, 8, taken=bits))
    scene.write(written(**on))
    assert ("given-back" in scene.broken()) is broken


@pytest.mark.parametrize("trip", ["link-lost", "watchdog"])
@pytest.mark.parametrize(("name", "broken"), [("idle", False), ("aborted", True), ("held", True)])
def test_at_rest_the_fan_of_the_safe_values_is_nobodys_gift(
    scene: Any, written: Callable[..., Outputs], trip: str, name: str, broken: bool
) -> None:
    here = replace(scene.before.sequence, state=name)
    scene.before = replace(scene.before, sequence=here, outputs=written(YC_101=True, SC_101=50.0))
    scene.after = replace(scene.after, sequence=here, memory=Memory(0, 8, taken=ALL))
    scene.write(written(YC_101=True, SC_101=50.0))
    scene.verdict = replace(HEALTHY, trips=(trip,), forced=True)
    assert ("given-back" in scene.broken()) is broken


def test_rows_of_our_own_take_nothing_that_only_a_person_gives_back() -> None:
    assert taken(("airflow-lost", "link-lost")) == 0
    assert taken(("limiter", "airflow-lost")) == HEAT
    assert taken(("emergency-stop",)) == taken(("person-inside",)) == ALL
