"""Product that comes and goes in a running chamber: books, mass, boards, probes, what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.filling import Batch, Move
from plantsim.kernel import layout as at
from plantsim.params import MixParams, PlantParams, Probe, Room
from plantsim.truth import COLUMN
from plantsim.weather import Weather

MILD = Weather.constant(8.0, 80.0)
BOARD = Batch(5.0 / 3.0, 20.0)  # 120 t over 72 positions
MIXES = (MixParams(name="hot", cement_share=0.2, tau_h=10.0, wetted_fraction=1.0), MixParams(name="plain"))


def chamber(*, tonnes: float = 0.0, filling: tuple[Move, ...] = (), params: PlantParams | None = None) -> Chamber:
    return Chamber(
        params or PlantParams(mix=MIXES), charge=Charge(tonnes=tonnes), weather=MILD, seed=3, filling=filling
    )


def live(model: Chamber, seconds: int, **given: float) -> Chamber:
    wanted = tuple(given.get(name, 0.0) for name in OUTPUTS)
    for _ in range(seconds):
        model.step(wanted)
    return model


def see(model: Chamber, name: str) -> float:
    return model.truth_row[COLUMN[name]]


def test_a_chamber_filled_board_by_board_is_the_chamber_that_was_born_full():
    """The same product at the same temperature by either way: the constants are the same, and an hour later too."""
    born, filled = chamber(tonnes=120.0), chamber()
    for bay in range(1, 7):
        for level in range(1, 13):
            filled.place(bay, level, BOARD)
    np.testing.assert_allclose(filled.constants.cell, born.constants.cell, rtol=1e-12)
    np.testing.assert_allclose(filled.constants.k, born.constants.k, rtol=1e-12)
    for model in (born, filled):
        live(model, 3600, fan_run=1, fan_pct=75, heat_run=1, valve_pct=80, fog_a=1)
    np.testing.assert_allclose(filled.state.air, born.state.air, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(filled.state.product[:7], born.state.product[:7], rtol=1e-6, atol=1e-9)


def test_books_close_while_boards_come_and_go_warm_wet_and_of_several_mixes():
    model = chamber(tonnes=60.0, params=PlantParams(mix=MIXES))
    live(model, 600, fan_run=1, fan_pct=75, heat_run=1, valve_pct=100, fog_a=1, fog_b=1)
    for turn in range(60):
        bay, level = turn % 6 + 1, turn * 5 % 12 + 1
        model.set_door(bay, open_=turn % 2 == 0)
        model.take(bay, level)
        live(model, 20, fan_run=1, fan_pct=75, fog_a=1, fog_b=1, heat_run=1, valve_pct=100)
        model.place(bay, level, Batch(0.5 + turn / 30.0, 5.0 + turn / 2.0, turn / 10.0, ("", "hot", "plain")[turn % 3]))
        live(model, 20, fan_run=1, fan_pct=75, vent_pct=30)
    books = model.books
    assert abs(books.energy_closure) <= 1e-12
    assert abs(books.water_closure) <= 1e-12
    assert books.charges_in_kWh > 100.0
    assert books.charges_out_kWh < -100.0
    assert books.charges_out_kg < -1.0, "the boards that went were wet"


def test_what_a_batch_brings_is_booked_by_its_definition():
    model = chamber()
    model.place(2, 3, Batch(2.0, 25.0))
    boards_kg = 24600.0 / 120.0 * 2.0
    assert model.books.charges_in_kWh * 3.6e6 == pytest.approx((2000.0 * 1000.0 + boards_kg * 1600.0) * 25.0)
    assert model.books.charges_in_kg == pytest.approx(2000.0 * 0.35 * 0.06)


def test_what_was_placed_and_taken_at_once_leaves_only_the_rack_and_its_own_heat():
    model = chamber()
    before = model.constants.cell.copy()
    model.place(1, 1, Batch(1.5, 60.0))
    warm = float(model.state.board[at.S_T, 0])
    model.take(1, 1)
    steel, boards = 15000.0 / 72 * 480.0, 24600.0 / 120 * 1.5 * 1600.0
    assert warm == pytest.approx((steel * 20.0 + boards * 60.0) / (steel + boards))
    assert model.state.board[at.S_T, 0] == warm, "the steel keeps the temperature of the mixture"
    np.testing.assert_array_equal(model.constants.cell, before)
    assert abs(model.books.energy_closure) < 1e-12


def test_the_boards_take_their_share_of_the_film_with_them():
    model = chamber(tonnes=120.0)
    model.state.board[at.S_FILM, 0] = 0.4
    model.take(1, 1)
    assert model.state.board[at.S_FILM, 0] == pytest.approx(0.4 * 4.0 / 23.0)
    brought = 120e3 / 72 * 0.35 * 0.06
    assert model.books.charges_out_kg == pytest.approx(-(brought + 0.4 * 19.0 / 23.0))


def test_an_occupied_and_an_empty_position_are_named():
    model = chamber()
    live(model, 36)
    model.place(4, 9, BOARD)
    with pytest.raises(ValueError, match=r"bay 4 level 9 has product since 0\.01 h"):
        model.place(4, 9, BOARD)
    with pytest.raises(ValueError, match="bay 1 level 2 is empty"):
        model.take(1, 2)
    with pytest.raises(ValueError, match=r"bay 1 level 13: this chamber has bays 1\.\.6 and levels 1\.\.12"):
        model.place(1, 13, BOARD)
    with pytest.raises(ValueError, match=r"mix 'no' is unknown; known: \(none\), hot, plain"):
        model.place(1, 1, Batch(1.0, 20.0, mix="no"))


def test_a_filling_that_cannot_be_is_refused_before_the_first_step():
    filling = (Move(10.0, "take", 1, 1), Move(20.0, "open", 9))
    with pytest.raises(ValueError, match=r"take bay 1 level 1 .* nothing stands there.*; open bay 9"):
        chamber(filling=filling)


def test_a_filling_is_carried_out_at_its_seconds_and_gives_what_hands_would_have_done():
    filling = (
        Move(30.0, "open", 2), Move(40.0, "place", 2, 5, BOARD), Move(55.0, "close", 2), Move(80.0, "take", 2, 5),
    )  # fmt: skip
    by_plan, by_hand = chamber(filling=filling), chamber()
    for second in range(120):
        if second in (30, 55):
            by_hand.set_door(2, second == 30)
        if second == 40:
            by_hand.place(2, 5, BOARD)
        if second == 80:
            by_hand.take(2, 5)
        for model in (by_plan, by_hand):
            live(model, 1, fan_run=1, fan_pct=75)
        assert by_plan.contacts["door_2_closed"] == (not 30 <= second < 55)
        assert see(by_plan, "tonnes_inside") == (5.0 / 3.0 if 40 <= second < 80 else 0.0)
    assert np.array_equal(by_plan._state, by_hand._state, equal_nan=True)


def test_a_probe_in_product_sees_the_rack_while_nothing_stands_there():
    params = PlantParams(probe=(Probe(tag="C", sees="product", bay=1, level=3),))
    model = chamber(params=params)
    model.place(1, 3, Batch(1.0, 50.0))
    live(model, 1)
    assert model.microamps[0] == pytest.approx(4000 + 16000 * 60.0 / 100.0, abs=20)  # 50 degC in -10..90
    model.take(1, 3)
    live(model, 1)
    rack = float(model.state.board[at.S_T, 2])
    assert model.microamps[0] == pytest.approx(4000 + 160.0 * (rack + 10.0), abs=20)


def test_drying_is_per_area_of_what_stands_inside():
    full, part = chamber(tonnes=120.0), chamber(tonnes=120.0)
    for bay in (1, 3, 5):
        for level in range(1, 13):
            part.take(bay, level)
    for model in (full, part):
        model.start(20.0, 50.0)
        live(model, 5, fan_run=1, fan_pct=75)
    assert see(full, "drying_kg_per_m2h") > 0.01
    assert see(part, "drying_kg_per_m2h") == pytest.approx(see(full, "drying_kg_per_m2h"), rel=0.02)


def test_charges_work_in_a_chamber_of_another_size():
    params = replace(PlantParams(), room=Room(bays=2, levels=3, dry_air_kg=61.2))
    model = chamber(params=params)
    model.place(2, 3, Batch(20.0, 30.0))
    live(model, 60, fan_run=1, fan_pct=75)
    assert model.positions().tonnes.tolist() == [[0.0, 0.0, 0.0], [0.0, 0.0, 20.0]]
    assert abs(model.books.energy_closure) < 1e-12


def test_a_batch_is_spread_over_the_cells_of_its_depth_and_leaves_with_all_of_them():
    model = chamber(params=PlantParams(room=replace(Room(), depth_cells=3)))
    empty = model.constants.cell.copy()
    model.place(2, 5, Batch(3.0, 45.0))
    assert np.count_nonzero(model.constants.cell[at.C_CEMENT]) == 3
    assert model.constants.cell[at.C_CEMENT].sum() == pytest.approx(3000.0 * 0.152)
    model.state.board[at.S_FILM] += 0.01
    model.start(25.0, 60.0)
    live(model, 60, fan_run=1, fan_pct=75)
    assert model.positions().occupied.sum() == 1
    model.take(2, 5)
    np.testing.assert_array_equal(model.constants.cell, empty)
    assert abs(model.books.energy_closure) < 1e-12
    assert abs(model.books.water_closure) < 1e-12
