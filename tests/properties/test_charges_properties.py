"""What must hold whatever comes and goes: books closed, mass adds up, one order of a second, nothing out of bounds."""

from __future__ import annotations

from math import isclose

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.filling import Batch, Move, in_order, most_tonnes
from plantsim.kernel import layout as at
from plantsim.params import MixParams, PlantParams, Room
from plantsim.weather import Weather

FEW = settings(derandomize=True, max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
BAYS, LEVELS = 2, 3
PARAMS = PlantParams(
    room=Room(bays=BAYS, levels=LEVELS, width_m=3.4, dry_air_kg=61.2),
    mix=(MixParams(name="hot", cement_share=0.25, wetted_fraction=1.0), MixParams(name="idle", hydration_J_per_kg=0.0)),
)
ON = (1.0, 60.0, 1.0, 50.0, 20.0, 1.0, 0.0, 1.0)


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


batches = st.builds(
    Batch, between(0.1, 30.0), between(-5.0, 60.0), between(0.0, 60.0), st.sampled_from(["", "hot", "idle"])
)


@st.composite
def fillings(draw: st.DrawFn) -> list[Move]:
    """Any sequence that is possible in a chamber that begins empty: a position is placed or taken by turns."""
    inside: set[tuple[int, int]] = set()
    moves = []
    time_s = 0.0
    for _ in range(draw(st.integers(1, 30))):
        time_s += draw(st.sampled_from([1.0, 7.5, 60.0, 300.0]))
        bay, level = draw(st.integers(1, BAYS)), draw(st.integers(1, LEVELS))
        if draw(st.integers(0, 3)) == 0:
            moves.append(Move(time_s, draw(st.sampled_from(["open", "close"])), bay))
        elif (bay, level) in inside:
            moves.append(Move(time_s, "take", bay, level))
            inside.remove((bay, level))
        else:
            moves.append(Move(time_s, "place", bay, level, draw(batches)))
            inside.add((bay, level))
    return moves


def lived(filling: list[Move]) -> Chamber:
    model = Chamber(
        PARAMS, charge=Charge(tonnes=0.0), weather=Weather.constant(8.0, 80.0), seed=1, filling=filling
    )
    model.start(28.0, 90.0)
    for _ in range(int(filling[-1].time_s) + 60):
        model.step(ON)
    return model


@FEW
@given(fillings())
def test_books_close_and_mass_adds_up_through_any_sequence(filling: list[Move]) -> None:
    model = lived(filling)
    books, now = model.books, model.positions()
    assert abs(books.energy_closure) <= 1e-12
    assert abs(books.water_closure) <= 1e-12
    brought = [move for move in filling if move.batch is not None]
    went = [move for move in filling if move.what == "take"]
    assert int(now.occupied.sum()) == len(brought) - len(went)
    tonnes: dict[tuple[int, int], float] = {}
    for move in filling:
        if move.batch is not None:
            tonnes[move.bay, move.level] = move.batch.tonnes
        elif move.what == "take":
            del tonnes[move.bay, move.level]
    assert isclose(float(now.tonnes.sum()), sum(tonnes.values()), abs_tol=1e-9)
    capacity = model.constants.cell[at.C_CORE_J].sum() / (1.0 - 0.35)
    assert isclose(capacity, 1e6 * sum(tonnes.values()), rel_tol=1e-12, abs_tol=1e-3)
    assert most_tonnes(tuple(filling)) >= now.tonnes.sum() - 1e-9
    for table in (model.state.air, model.state.product, model.state.board, model.state.truth):
        assert np.isfinite(table).all()
    assert min(model.state.board[at.S_FILM].min(), model.state.product[at.P_FILM].min()) >= 0.0


@FEW
@given(fillings(), st.randoms(use_true_random=False))
def test_the_order_in_which_moves_are_given_does_not_matter(filling: list[Move], random: object) -> None:
    shuffled = list(filling)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert in_order(shuffled) == in_order(filling)


@FEW
@given(fillings())
def test_a_filling_played_twice_is_the_same_to_the_bit(filling: list[Move]) -> None:
    assert np.array_equal(lived(filling)._state, lived(filling)._state, equal_nan=True)
