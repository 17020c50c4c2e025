"""Knobs: each changes its own constants, refuses what it may not be, and goes back to the bit."""

from __future__ import annotations

import pytest

from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.params import PlantParams
from plantsim.weather import Weather

AT_WORK = (1.0, 60.0, 1.0, 40.0, 30.0, 1.0, 1.0, 1.0)


def chamber() -> Chamber:
    return Chamber(PlantParams(), charge=Charge(), weather=Weather([8.0], [80.0]), seed=3)


NAMES = sorted(chamber()._knobs.known)


@pytest.mark.parametrize("name", NAMES)
def test_a_knob_changes_the_chamber_and_goes_back_to_the_bit(name: str) -> None:
    turned, left = chamber(), chamber()
    before = turned._const.copy(), turned._state.copy()
    was = turned.knob(name)
    turned.set_knob(name, was * 1.5 + 0.3)
    assert turned.knob(name) == was * 1.5 + 0.3
    for _ in range(120):
        turned.step(AT_WORK)
        left.step(AT_WORK)
    assert turned.truth_row != left.truth_row
    assert abs(turned.books.energy_closure) < 1e-9
    assert abs(turned.books.water_closure) < 1e-9
    turned.set_knob(name, was)
    assert (turned._const == before[0]).all()
    assert turned.knob(name) == was


def test_unknown_knobs_and_settings_out_of_bounds_are_refused_with_what_is_known() -> None:
    made = chamber()
    with pytest.raises(KeyError, match=r"fan_flux is no knob; known: .*fan_flow"):
        made.set_knob("fan_flux", 1.0)
    with pytest.raises(ValueError, match=r"knob leak 101.0: must be 0 to 100 x, air through cracks"):
        made.set_knob("leak", 101.0)
    with pytest.raises(ValueError, match="knob droplet nan"):
        made.set_knob("droplet", float("nan"))
