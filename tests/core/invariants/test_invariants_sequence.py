"""Each invariant of sequence, orders and alarms catches the bug it is there for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.core.alarms.rate import Rate
from controller.core.equipment.actuators import Achieved
from controller.core.frames import Command, Event, Frame, Outputs
from controller.core.orders.commands import MEMORY, CommandState, settled
from controller.core.protection.protection import HEALTHY
from controller.core.sequence import sequence
from controller.core.sequence.recipe import ChamberLimits, End, Phase, Recipe
from controller.core.sequence.sequence import SequenceConfig

PHASE = Phase(kind="hold", floor_degC=29.0, ceiling_degC=34.0, end=End(time_h=9.0))
PLAN = sequence.bind(SequenceConfig(), Recipe(name="trial", phases=(PHASE, PHASE)), ChamberLimits())
WAS = replace(sequence.initial(PLAN), state="running", phase=0, phase_s=10.0, cycle_s=10.0)
NOW = replace(WAS, phase_s=11.0, cycle_s=11.0)
NAN = float("nan")


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"state": "held"}, "procedure-edge"),
        ({"state": "held", "trail": ("held",)}, "procedure-edge"),
        ({"state": "idle", "trail": ("holding", "held")}, "procedure-edge"),
        ({"state": "holding", "trail": ("holding",), "phase": 1}, "phase-short"),
        ({"phase": 1}, "phase-short"),
        ({"phase": 2}, "phase-fell"),
        ({"phase": -1}, "phase-fell"),
        ({"phase_s": 9.0}, "clock"),
        ({"phase_s": 12.1}, "clock"),
        ({"cycle_s": 9.0}, "clock"),
        ({"cycle_s": NAN}, "clock"),
        ({"held_s": -1.0}, "clock"),
        ({"floor_degC": 29.01}, "ramp-rate"),
        ({"floor_degC": 28.99}, "ramp-rate"),
        ({"floor_degC": NAN}, "ramp-rate"),
        ({"ceiling_degC": 34.01}, "ramp-rate"),
        ({"ceiling_degC": 33.99}, "ramp-rate"),
        ({"commands": CommandState(("a",), 1, 0)}, "command-outcome"),
    ],
)
def test_a_bug_in_the_sequence_is_caught(scene: Any, changes: dict[str, Any], name: str) -> None:
    scene.after = replace(scene.after, sequence=replace(NOW, **changes))
    assert scene.broken() == (name,)


@pytest.mark.parametrize(
    ("end", "was", "orders", "holds"),
    [
        ({"time_h": 1.0}, {"phase_s": 3598.0}, 0, False),
        ({"time_h": 1.0}, {"phase_s": 3599.0}, 0, True),
        ({"time_h": 1.0, "in_band": True}, {"phase_s": 10.0}, 0, True),
        ({"time_h": 1.0, "match": "all"}, {"phase_s": 3598.0}, 0, False),
        ({"time_h": 1.0, "match": "all"}, {"phase_s": 3599.0}, 0, True),
        ({"time_h": 1.0, "match": "all"}, {"phase_s": 10.0}, 1, True),
        ({"time_h": 1.0, "match": "all", "at_most_h": 2.0}, {"phase_s": 10.0, "waiting_s": 7189.0}, 0, True),
        ({"cycle_h": 2.0, "match": "all"}, {"phase_s": 10.0, "cycle_s": 7198.0}, 0, False),
        ({"cycle_h": 2.0, "match": "all"}, {"phase_s": 10.0, "cycle_s": 7199.0}, 0, True),
        ({"equivalent_age_h": 9.0, "at_least_h": 0.5}, {"phase_s": 1798.0}, 0, False),
        ({"equivalent_age_h": 9.0, "at_least_h": 0.5}, {"phase_s": 1799.0}, 0, True),
    ],
)
def test_no_phase_is_shorter_than_its_recipe_says_unless_a_person_ends_it(
    scene: Any, end: dict[str, Any], was: dict[str, float], orders: int, holds: bool
) -> None:
    phase = replace(PHASE, end=End(**end))
    bound = sequence.bind(SequenceConfig(), Recipe(name="trial", phases=(phase, PHASE)), ChamberLimits())
    scene.plan = replace(scene.plan, phases=bound.phases)
    before = replace(WAS, **was)
    now = replace(before, phase=1, phase_s=0.0, cycle_s=before.cycle_s + 1.0)
    scene.commands = tuple(Command(str(n), "next-phase", "anna") for n in range(orders))
    scene.events = tuple(settled(command.id, command.verb, "anna", "") for command in scene.commands)
    now = replace(now, commands=CommandState(tuple(command.id for command in scene.commands), orders, 0))
    scene.before, scene.after = replace(scene.before, sequence=before), replace(scene.after, sequence=now)
    assert scene.broken() == (() if holds else ("phase-short",))


@pytest.mark.parametrize(
    ("state", "trail", "verbs", "holds"),
    [
        ("idle", ("running",), ("start",), True),
        ("idle", ("running",), (), False),
        ("idle", ("running",), ("restart",), False),
        ("held", ("restarting",), ("restart",), True),
        ("held", ("restarting",), (), False),
        ("paused", ("running",), (), False),
        ("paused", ("running",), ("acknowledge", "resume"), True),
        ("aborted", ("idle", "running"), ("reset", "start"), True),
        ("aborted", ("idle", "running"), ("reset",), False),
        ("running", ("holding",), (), True),
        ("running", ("aborting",), (), True),
        ("running", ("stopping",), (), False),
        ("running", ("complete",), (), True),
        ("restarting", ("running",), (), True),
        ("held", (), (), True),
    ],
)
def test_nothing_starts_or_goes_on_without_an_order(
    scene: Any, state: str, trail: tuple[str, ...], verbs: tuple[str, ...], holds: bool
) -> None:
    was = replace(WAS, state=state)
    scene.commands = tuple(Command(verb, verb, "anna") for verb in verbs)
    scene.events = tuple(settled(verb, verb, "anna", "") for verb in verbs)
    now = replace(
        was, state=trail[-1] if trail else state, trail=trail, commands=CommandState(verbs, len(verbs), 0)
    )
    scene.before, scene.after = replace(scene.before, sequence=was), replace(scene.after, sequence=now)
    assert scene.broken() == (() if holds else ("unordered",))


def test_a_clock_that_runs_while_stopped_is_caught(scene: Any) -> None:
    held = replace(WAS, state="held")
    scene.before = replace(scene.before, sequence=held)
    scene.after = replace(scene.after, sequence=replace(NOW, state="held", held_s=1.0))
    assert scene.broken() == ("clock",)
    scene.after = replace(scene.after, sequence=replace(held, phase=1, held_s=1.0))
    assert scene.broken() == ("phase-fell",)


def test_start_and_reset_may_put_clocks_back(scene: Any) -> None:
    scene.before = replace(scene.before, sequence=replace(WAS, state="complete", phase=1))
    scene.commands, scene.events = (Command("a", "reset", "anna"),), (settled("a", "reset", "anna", ""),)
    clean = replace(sequence.initial(PLAN), trail=("idle",), commands=CommandState(("a",), 1, 0))
    scene.after = replace(scene.after, sequence=clean)
    assert scene.broken() == ()


@pytest.mark.parametrize(
    ("commands", "after", "answers", "holds"),
    [
        (("a",), CommandState(("a",), 1, 0), ("a",), True),
        (("a",), CommandState(("a",), 0, 0), ("a",), False),
        (("a",), CommandState(("a",), 2, 0), ("a",), False),
        (("a",), CommandState((), 1, 0), ("a",), False),
        (("a",), CommandState(("a",), 1, 0), (), False),
        (("a",), CommandState(("a",), 1, 0), ("a", "a"), False),
        (("a",), CommandState(("a",), 1, 0), ("b",), False),
        (("a", "b"), CommandState(("a", "b"), 2, 0), ("b", "a"), True),
        (("a", "a"), CommandState(("a",), 1, 1), ("a",), True),
        (("a", "a"), CommandState(("a", "a"), 2, 0), ("a", "a"), False),
    ],
)
def test_a_command_without_its_one_outcome_is_caught(
    scene: Any, commands: tuple[str, ...], after: CommandState, answers: tuple[str, ...], holds: bool
) -> None:
    scene.commands = tuple(Command(id_, "hold", "anna") for id_ in commands)
    scene.events = tuple(settled(id_, "hold", "anna", "") for id_ in answers)
    scene.after = replace(scene.after, sequence=replace(NOW, commands=after))
    assert (scene.broken() == ()) is holds


def test_a_command_that_nobody_looked_at_is_caught(scene: Any) -> None:
    scene.commands = (Command("a", "hold", "anna"),)
    scene.after = replace(scene.after, sequence=scene.before.sequence)
    assert scene.broken() == ("command-outcome",)


def test_orders_that_are_never_forgotten_are_caught(scene: Any) -> None:
    ids = tuple(map(str, range(MEMORY)))
    scene.before = replace(scene.before, sequence=replace(WAS, commands=CommandState(ids, MEMORY, 0)))
    scene.commands, scene.events = (Command("new", "hold", "anna"),), (settled("new", "hold", "anna", ""),)
    for kept, holds in (((*ids[1:], "new"), True), ((*ids, "new"), False)):
        scene.after = replace(scene.after, sequence=replace(NOW, commands=CommandState(kept, MEMORY + 1, 0)))
        assert scene.broken() == (() if holds else ("queue",))


@pytest.mark.parametrize(
    ("trips", "alarms_", "holds"),
    [
        ((), (), True),
        (("limiter",), ("limiter",), True),
        (("limiter",), (), False),
        ((), ("limiter",), False),
        (("limiter", "door-open"), ("limiter",), False),
        (("limiter",), ("limiter", "spread-high"), True),
    ],
)
def test_a_trip_and_its_alarm_go_together(
    scene: Any, trips: tuple[str, ...], alarms_: tuple[str, ...], holds: bool
) -> None:
    scene.verdict = replace(HEALTHY, trips=trips)
    scene.live(*alarms_)
    assert scene.broken() == (() if holds else ("trip-alarm",))


def test_an_alarm_that_comes_twice_in_a_scan_is_caught(scene: Any) -> None:
    scene.live("spread-high", "waiting")
    comes = [Event("alarm", tag, "", (("what", "comes"),)) for tag in ("spread-high", "waiting", "waiting")]
    scene.events = tuple(comes[:2])
    assert scene.broken() == ()
    scene.events = tuple(comes)
    assert scene.broken() == ("alarm-rate",)


@pytest.mark.parametrize("grown", [{"rate": Rate(recent=((0.0, "x"),) * 65)}, {"hidden": (None,) * 99}])
def test_alarms_that_are_never_forgotten_are_caught(scene: Any, grown: dict[str, Any]) -> None:
    scene.after = replace(scene.after, alarms=replace(scene.after.alarms, **grown))
    assert scene.broken() == ("queue",)


@pytest.mark.parametrize(
    ("contact", "heat_kW", "fog_kg_per_h", "told", "holds"),
    [
        ("HS-113", 0.0, 60.0, True, True),
        ("HS-113", 0.0, 60.0, False, False),
        ("HS-113", 60.0, 60.0, True, False),
        ("HS-112", 60.0, 0.0, True, True),
        ("HS-112", 60.0, 60.0, True, False),
        ("HS-111", 60.0, 60.0, True, True),
        ("HS-111", 60.0, 60.0, False, False),
    ],
)
def test_a_switch_in_hand_is_told_and_its_drive_is_not_counted_on(
    scene: Any, opened: Callable[..., Frame], written: Callable[..., Outputs], contact: str, heat_kW: float,
    fog_kg_per_h: float, told: bool, holds: bool,
) -> None:
    scene.frame = opened(contact)
    scene.after = replace(scene.after, achieved=Achieved(heat_kW, fog_kg_per_h, 1.0, 0.0, 0.0))
    scene.live(*(("in-hand",) if told else ()))
    assert scene.broken() == (() if holds else ("hand-unseen",))
