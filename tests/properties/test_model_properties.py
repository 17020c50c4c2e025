"""What must hold for the chamber model whatever its parameters and outputs are, as long as they are in their bounds."""

from __future__ import annotations

from pathlib import Path
from runpy import run_path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from plantsim.chamber import Chamber
from plantsim.kernel import layout as at

_drawn = run_path(str(Path(__file__).with_name("drawn_plants.py")))
SOME, chambers, orders = _drawn["SOME"], _drawn["chambers"], _drawn["orders"]

Act = tuple[tuple[float, ...], bool, int]  # outputs, door 1 open, seconds
acts = st.lists(st.tuples(orders, st.booleans(), st.integers(60, 900)), min_size=1, max_size=5)


@SOME
@given(chambers(), acts)
def test_states_stay_in_bounds_and_books_close(model: Chamber, played: list[Act]) -> None:
    """Live through the acts and look at everything after each."""
    for outputs, door, seconds in played:
        model.set_door(1, door)
        for _ in range(round(seconds / model.dt_s)):
            model.step(outputs)
        check(model)


def check(model: Chamber) -> None:
    v, books = model.state, model.books
    for table in (v.air, v.product, v.board, v.wall, v.floor, v.gear, v.books, v.truth):
        assert np.isfinite(table).all()
    assert v.air[at.AIR_RH].max() <= 1.0 + 1e-9
    assert min(v.air[at.AIR_W].min(), v.air[at.AIR_FOG].min()) >= 0.0
    for water in (v.product[at.P_FILM], v.product[at.P_INNER], v.board[at.S_FILM], v.wall[at.S_FILM]):
        assert water.min() >= 0.0
    assert -40.0 < v.air[at.AIR_T].min() <= v.air[at.AIR_T].max() < 250.0
    assert all(3500 <= current <= 20500 for current in model.microamps)
    if min(books.energy_throughput_kWh, books.water_throughput_kg) > 0.1:
        assert abs(books.energy_closure) <= 1e-9
        assert abs(books.water_closure) <= 1e-9
