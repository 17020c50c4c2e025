"""The chamber model's stepping against scipy.integrate.solve_ivp (LSODA) on equations written apart from it.

The equations stand in tools/verification/equations.py. A small chamber, few levels: the equations of a cell, of a
surface and of a neighbour are the same for any size. The model's steps are first order, so its error must shrink in
proportion to dt and its halving ratio must be near 2.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pytest

from verification.equations import CELL_ROWS, Case, Equations, Vector
from verification.stepped import DRY, LIMITS, STILL, WET, params_of, quantities, stepped


@dataclass(frozen=True)
class Compared:
    """Largest errors over all places, one row a step size of STEPS_S, one column a quantity of LIMITS."""

    errors: Vector
    fog: float  # most fog in the air at the end, kg/kg


STEPS_S = (1.0, 0.5, 0.25)


@lru_cache(maxsize=3)
def compare(case: Case) -> Compared:
    """Both ways of a case."""
    equations = Equations(params_of(case), case)
    exact = quantities(equations, equations.solve())
    errors = [
        [np.abs(x - y).max() for x, y in zip(quantities(equations, stepped(case, dt)), exact, strict=True)]
        for dt in STEPS_S
    ]
    return Compared(np.array(errors), float(exact[-1].max()))


CASES = pytest.mark.parametrize("case", [DRY, WET, STILL], ids=["dry warm-up", "fog and condensation", "fan stands"])
SOURCE = pytest.mark.outside(
    "library: scipy.integrate.solve_ivp, LSODA, rtol 1e-8, on equations written apart from the model"
)


@SOURCE
@CASES
def test_half_an_hour_agrees_within_a_tolerance_that_shrinks_with_the_step(case: Case) -> None:
    allowed = np.outer(STEPS_S, [*LIMITS.values()])
    errors = compare(case).errors[:, : len(LIMITS)]
    assert (errors <= allowed).all(), dict(zip(LIMITS, errors[0].tolist(), strict=True))


@SOURCE
@CASES
def test_halving_the_step_halves_the_error(case: Case) -> None:
    errors = compare(case).errors[:, [0, 2, 3, 4, 6]]  # temperatures: nowhere near rounding
    ratio = errors[:-1] / errors[1:]
    assert ((ratio > 1.8) & (ratio < 2.4)).all(), ratio


@SOURCE
def test_the_cases_are_what_they_are_called() -> None:
    """Goal: the comparison is of fog, of films and of a stratified chamber, not of three calm ones."""
    assert compare(WET).fog > 1e-5
    assert compare(DRY).fog == 0.0
    wet, still = (Equations(params_of(case), case) for case in (WET, STILL))
    cells = stepped(WET, 1.0)[: CELL_ROWS * wet.n].reshape(CELL_ROWS, wet.n)
    assert (cells[7] > 1.05 * 0.2 * wet.A_board).all(), "boards condense"
    T = quantities(still, stepped(STILL, 1.0))[0]
    assert T[-1] - T[0] > 3.0, "warm above, cold below"
