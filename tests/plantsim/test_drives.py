"""Valve and damper drives: stroke, play, stiction, and where they go without power."""

from __future__ import annotations

import pytest

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.kernel.drives import motor, stem
from plantsim.kernel.jit import python_of
from plantsim.params import Coil, PlantParams, Vent
from plantsim.weather import Weather

stem_, motor_ = python_of(stem), python_of(motor)


def follow(demands: list[float], play: float = 0.0, stiction: float = 0.0, start: float = 0.0) -> list[float]:
    """Stem positions behind a drive that is at once where it is asked to be."""
    position, seen = start, []
    for demand in demands:
        position = stem_(position, demand, play, stiction)
        seen.append(position)
    return seen


def test_as_new_the_stem_is_where_the_drive_is() -> None:
    demands = [0.0, 0.1, 33.3, 33.2, 100.0, 0.0]
    assert follow(demands) == demands


def test_play_is_lost_on_every_reversal() -> None:
    """4 % of play: up it lags by 2, down by 2, and the first 4 % of a reversal move nothing."""
    assert follow([30.0, 50.0, 48.0, 46.0, 44.0, 46.0, 48.0, 52.0], play=4.0) == [
        28.0, 48.0, 48.0, 48.0, 46.0, 46.0, 46.0, 50.0,
    ]  # fmt: skip


def test_a_sticking_stem_waits_then_jumps() -> None:
    assert follow([20.0, 21.0, 22.0, 22.5, 22.0], stiction=2.0, start=20.0) == [20.0, 20.0, 20.0, 22.5, 22.5]


def test_both_ends_are_pressed_home() -> None:
    assert follow([50.0, 0.0, 50.0, 100.0], play=6.0, stiction=3.0)[1::2] == [0.0, 100.0]


@pytest.mark.parametrize(("fails", "there"), [(at.SHUT, 38.0), (at.STAY, 40.0), (at.OPEN, 42.0)])
def test_without_power_a_drive_goes_where_it_fails_to(fails: int, there: float) -> None:
    assert motor_(40.0, 70.0, 2.0, True, fails) == there
    assert motor_(40.0, 70.0, 2.0, False, fails) == 42.0


@pytest.mark.parametrize(
    ("valve", "vent", "there"),
    [("shut", "stay", (0.0, 50.0)), ("stay", "shut", (60.0, 0.0)), ("open", "open", (100.0, 100.0))],
)
def test_the_chamber_without_mains(valve, vent, there) -> None:
    """Outputs stay as they were: the panel's supply may be buffered, the drives' is not."""
    params = PlantParams(heat=Coil(fails=valve), vent=Vent(fails=vent))
    model = Chamber(params, charge=Charge(), weather=Weather.constant(8.0, 80.0), seed=1)
    given = {"fan_run": 1.0, "fan_pct": 75.0, "heat_run": 1.0, "valve_pct": 60.0, "vent_pct": 50.0}
    wanted = tuple(given.get(name, 0.0) for name in OUTPUTS)
    for _ in range(120):
        model.step(wanted)
    model.set_condition("mains", False)
    for _ in range(120):
        model.step(wanted)
    gear = model.state.gear
    assert (gear[at.G_VALVE], gear[at.G_DAMPER]) == there
    assert gear[at.G_FLOW] < 0.1
    assert gear[at.G_COIL_W] < 0.1 * 60e3  # no pump either
    model.set_condition("mains", True)
    for _ in range(120):
        model.step(wanted)
    assert (gear[at.G_VALVE], gear[at.G_DAMPER]) == (60.0, 50.0)


def test_a_worn_valve_in_the_chamber_stands_apart_from_its_output() -> None:
    params = PlantParams(heat=Coil(play_pct=6.0))
    model = Chamber(params, charge=Charge(), weather=Weather.constant(8.0, 80.0), seed=1)
    for pct in (50.0, 45.0):
        given = {"fan_run": 1.0, "fan_pct": 75.0, "heat_run": 1.0, "valve_pct": pct}
        for _ in range(100):
            model.step(tuple(given.get(name, 0.0) for name in OUTPUTS))
    assert model.state.gear[at.G_VALVE] == 47.0
