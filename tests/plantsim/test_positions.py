"""What judges may know of every position and door, and the settled columns of the truth."""

from __future__ import annotations

from math import inf

import numpy as np
import pytest

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.filling import Batch
from plantsim.kernel import layout as at
from plantsim.kernel.jit import python_of
from plantsim.kernel.observe import _settled
from plantsim.params import PlantParams
from plantsim.truth import COLUMN
from plantsim.weather import Weather

FAN = tuple({"fan_run": 1.0, "fan_pct": 75.0}.get(name, 0.0) for name in OUTPUTS)


def chamber(tonnes: float = 0.0, mix_degC: float = 20.0) -> Chamber:
    charge = Charge(tonnes=tonnes, mix_degC=mix_degC, empty_bays=(6,))
    return Chamber(PlantParams(), charge=charge, weather=Weather.constant(8.0, 80.0), seed=3)


def live(model: Chamber, seconds: int) -> Chamber:
    for _ in range(seconds):
        model.step(FAN)
    return model


def see(model: Chamber, name: str) -> float:
    return model.truth_row[COLUMN[name]]


def test_positions_say_what_stands_where_since_when():
    model = live(chamber(tonnes=100.0), 100)
    model.place(6, 2, Batch(1.5, 25.0, age_h=3.0))
    live(model, 50)
    now = model.positions()
    assert now.occupied.sum() == 61
    assert now.tonnes[:5] == pytest.approx(100.0 / 60.0)
    assert (now.placed_s[0, 0], now.placed_s[5, 1], now.inside_s[5, 1]) == (0.0, 100.0, 50.0)
    assert np.isnan([now.core_degC[5, 0], now.age_h[5, 0], now.film_kg_per_m2[5, 0], now.inside_s[5, 0]]).all()
    assert now.core_degC[5, 1] == pytest.approx(25.0, abs=0.1)
    assert now.age40_h[5, 1] == pytest.approx(3.0, abs=0.1)
    assert now.mix[5, 1] == ""


def test_a_cold_newcomer_gains_water_from_warm_moist_air_and_says_how_much():
    model = chamber(mix_degC=32.0)
    model.start(32.0, 97.0)
    model.place(1, 3, Batch(5.0 / 3.0, 15.0))
    live(model, 1800)
    now = model.positions()
    gained = float(now.gained_kg_per_m2[0, 2])
    assert gained > 0.01
    assert gained * 22.5 == pytest.approx(model.books.condensed_product_kg, rel=0.05), "pores take up a little beside"
    model.take(1, 3)
    model.place(1, 3, Batch(5.0 / 3.0, 32.0))
    assert model.positions().gained_kg_per_m2[0, 2] == 0.0


def test_doors_know_how_long_they_were_open_and_since_when_they_are_shut():
    model = live(chamber(), 10)
    model.set_door(2, open_=True)
    model.set_door(2, open_=True)
    live(model, 30)
    assert model.door_open_s()[1] == 30.0
    assert model.door_shut_s()[1] == 0.0
    model.set_door(2, open_=False)
    live(model, 25)
    model.set_door(2, open_=True)
    live(model, 5)
    assert model.door_open_s().tolist() == [0.0, 35.0, 0.0, 0.0, 0.0, 0.0]
    assert model.door_shut_s()[0] == inf
    with pytest.raises(ValueError, match=r"door of bay 7: this chamber has bays 1\.\.6"):
        model.set_door(7, open_=True)


def test_settled_films_leave_newcomers_out_until_their_time_has_passed():
    model = chamber()
    model.judge(settle_s=60.0)
    live(model, 10)
    model.place(1, 1, Batch(1.5, 20.0))
    model.state.board[at.S_FILM, 0] = 1.0
    live(model, 59)
    assert see(model, "board_film_max_kg_per_m2") > 0.01
    assert see(model, "settled_board_film_max_kg_per_m2") == 0.0
    live(model, 2)
    assert see(model, "settled_board_film_max_kg_per_m2") == see(model, "board_film_max_kg_per_m2") > 0.01


def test_settled_air_leaves_out_bays_behind_an_open_door_and_some_time_after():
    model = chamber(mix_degC=32.0)
    model.judge(settle_s=0.0, door_settle_s=120.0)
    model.set_door(1, open_=True)
    live(model, 60)
    assert see(model, "settled_air_min_degC") > see(model, "air_min_degC") + 0.5
    model.set_door(1, open_=False)
    live(model, 119)
    assert see(model, "settled_air_min_degC") > see(model, "air_min_degC")
    live(model, 2)
    assert see(model, "settled_air_min_degC") == see(model, "air_min_degC")
    for bay in range(1, 7):
        model.set_door(bay, open_=True)
    live(model, 1)
    assert see(model, "settled_air_min_degC") == see(model, "settled_air_max_degC") == see(model, "air_mean_degC")


def test_without_newcomers_and_doors_settled_columns_are_the_plain_ones():
    model = live(chamber(tonnes=100.0), 300)
    assert see(model, "settled_board_film_max_kg_per_m2") == see(model, "board_film_max_kg_per_m2")
    assert see(model, "settled_air_max_degC") == see(model, "air_max_degC")
    assert see(model, "tonnes_inside") == 100.0


@pytest.mark.parametrize("kind", ["nothing", "newcomer", "one bay", "every bay"])
def test_the_settled_columns_of_a_row_as_plain_python(kind: str):
    """Each branch without the compiler: film 0.3 kg at cell 5, cell 5 the coldest, a newcomer or behind a door."""
    model = chamber(tonnes=100.0)
    c, v = model.constants, model.state
    v.board[at.S_FILM], v.air[at.AIR_T] = 0.01, 30.0
    v.board[at.S_FILM, 5], v.air[at.AIR_T, 5] = 0.3, 25.0
    v.truth[11], v.truth[0], v.truth[1], v.truth[2] = 0.3 / c.cell[at.C_BOARD_M2, 5], 29.9, 25.0, 30.0
    c.cell[at.C_NEWCOMER, 5] = c.k[at.K_NEWCOMERS] = float(kind == "newcomer")
    bay = {"one bay": slice(0, 12), "every bay": slice(0, 72)}.get(kind, slice(0, 0))
    c.cell[at.C_OPENED, bay] = 1.0
    c.k[at.K_OPENED] = c.cell[at.C_OPENED].sum()
    python_of(_settled)(c, v, v.truth)
    film, lo, hi = v.truth[44:47]
    expected = 0.01 / c.cell[at.C_BOARD_M2, 71] if kind == "newcomer" else v.truth[11]
    assert film == expected
    assert (lo, hi) == {"one bay": (30.0, 30.0), "every bay": (29.9, 29.9)}.get(kind, (25.0, 30.0))
