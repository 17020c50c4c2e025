"""A chamber's moment, put into another chamber of the same making, goes on to the bit."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.filling import Batch, Move
from plantsim.params import PlantParams, Probe
from plantsim.weather import Weather

PROBES = (
    Probe(tag="T", sees="air", bay=1, level=3, lag_s=30.0, noise=0.02),
    Probe(tag="M", sees="rh", bay=6, level=10, lag_s=15.0, noise=0.1),
)
HEATING = tuple(
    {"fan_run": 1.0, "fan_pct": 75.0, "heat_run": 1.0, "valve_pct": 60.0, "fog_b": 1.0, "vent_pct": 20.0}.get(name, 0.0)
    for name in OUTPUTS
)
FILLING = (
    Move(0.0, "open", 2), Move(300.0, "place", 2, 3, Batch(1.5, 18.0, 0.5, "")), Move(420.0, "close", 2),
    Move(900.0, "open", 4), Move(960.0, "place", 4, 1, Batch(1.5, 19.0, 0.5, "")), Move(1500.0, "take", 2, 3),
)  # fmt: skip
WEATHER = Weather([8.0, 2.0, -5.0], [80.0, 90.0, 60.0])


def chamber(filling: tuple[Move, ...] = (), seed: int = 7, bays: int = 6) -> Chamber:
    params = PlantParams(probe=PROBES)
    charge = Charge(tonnes=0.0) if filling else Charge()
    return Chamber(params, charge=charge, weather=WEATHER, seed=seed, dt_s=2.0, filling=filling)


def lived(one: Chamber, steps: int) -> list[Any]:
    found = []
    for _ in range(steps):
        one.step(HEATING)
        found.append((one.microamps, one.truth_row, dict(one.contacts)))
    return found


@pytest.mark.parametrize("filling", [(), FILLING], ids=["a charge", "boards that come and go"])
@pytest.mark.parametrize("at", [1, 200, 470])
def test_a_moment_goes_on_as_the_chamber_it_is_of(filling: tuple[Move, ...], at: int) -> None:
    first = chamber(filling)
    lived(first, at)
    moment = first.memory()
    second = chamber(filling)
    lived(second, 3)
    second.recall(moment)
    assert second.time_s == first.time_s == 2.0 * at
    assert second.contacts == first.contacts
    assert lived(second, 400) == lived(first, 400)
    assert second.books == first.books
    assert (second.positions().tonnes == first.positions().tonnes).all()
    assert (second.door_open_s() == first.door_open_s()).all()


def test_a_moment_is_a_copy() -> None:
    one = chamber()
    moment = one.memory()
    before = {name: value.copy() for name, value in moment.items()}
    lived(one, 50)
    assert all(np.array_equal(moment[name], before[name], equal_nan=name != "mix") for name in before)


def test_another_seed_changes_the_noise_and_not_the_chamber() -> None:
    first = chamber()
    lived(first, 100)
    other = chamber(seed=8)
    other.recall(first.memory())
    assert [row[1] for row in lived(other, 50)] == [row[1] for row in lived(first, 50)]
    assert [row[0] for row in lived(other, 50)] != [row[0] for row in lived(first, 50)]


def test_the_moment_of_another_chamber_is_refused() -> None:
    moment = chamber().memory()
    small = Chamber(PlantParams(probe=PROBES[:1]), charge=Charge(), weather=WEATHER, seed=7)
    with pytest.raises(ValueError, match="another chamber"):
        small.recall(moment)
