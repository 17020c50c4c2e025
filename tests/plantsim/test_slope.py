"""The chamber model as dy/dt: it is the slope of the model's own step, and it knows which states hang on which."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize._numdiff import group_columns

from controller.config.find import find
from controller.rig.bench.stiff import made
from controller.rig.modelfiles import read
from plantsim.chamber import Chamber
from plantsim.slope import CELL_SIZES, STEP_S, Slope, TooManyCallsError, jacobian, send

HEATING = (1.0, 75.0, 1.0, 40.0, 0.0, 0.0, 0.0, 1.0)
USUAL = read(find("plant", "demo-north")).value
SMALL = replace(USUAL, room=replace(USUAL.room, bays=2, levels=3), probe=())


def warmed() -> Chamber:
    """Ten minutes under way, drives where they were sent."""
    chamber = made(SMALL, 1.0)
    for _ in range(600):
        chamber.step(HEATING)
    send(chamber, HEATING)
    return chamber


def test_steps_of_the_model_and_a_solver_on_its_slope_come_to_the_same_end() -> None:
    """The model's error is first order in its step: extrapolated to no step at all it is that of the solver."""
    begun = warmed()
    ode = Slope(made(SMALL, STEP_S, begun))
    ode.begin(HEATING)
    solved = solve_ivp(ode, (0.0, 120.0), ode.of(begun), method="LSODA", rtol=1e-8, atol=1e-8 * ode.size)
    ends = {}
    for dt_s in (1.0, 0.5):
        chamber = made(SMALL, dt_s, begun)
        for _ in range(round(120.0 / dt_s)):
            chamber.step(HEATING)
        ends[dt_s] = ode.temperatures(ode.of(chamber))
    right = ode.temperatures(solved.y[:, -1])
    moved = np.abs(right - ode.temperatures(ode.of(begun))).max()
    off, half = (np.abs(ends[dt_s] - right).max() for dt_s in (1.0, 0.5))
    assert solved.success
    assert moved > 0.05
    assert off < 0.05
    assert half == pytest.approx(0.5 * off, rel=0.2)
    assert np.abs(2.0 * ends[0.5] - ends[1.0] - right).max() < 0.1 * off


def test_pattern_has_every_entry_of_the_jacobian_and_far_cells_do_not_hang_on_each_other() -> None:
    ode = Slope(made(SMALL, STEP_S, warmed()))
    ode.begin(HEATING)
    pattern = ode.pattern()
    y = ode.of(ode.chamber)
    rows, columns = np.nonzero(pattern)
    found = np.zeros(pattern.shape)
    found[rows, columns] = jacobian(ode, np.asarray(group_columns(pattern.astype(float))), rows, columns, y)
    whole = jacobian(ode, np.arange(y.size), *np.nonzero(np.ones_like(pattern)), y).reshape(pattern.shape)
    assert np.abs(found - whole).max() <= 1e-6 * np.abs(whole).max()
    core = 3  # of the product: what happens in one hangs on its own cell only
    size = len(CELL_SIZES)
    assert set(np.nonzero(pattern[core])[0]) <= set(range(size))
    assert pattern.sum() < 0.5 * pattern.size


def test_a_solver_that_asks_too_often_is_stopped_with_the_limit() -> None:
    ode = Slope(made(SMALL, STEP_S))
    ode.calls_most = 2
    y = ode.of(ode.chamber)
    ode(0.0, y)
    ode(0.0, y)
    with pytest.raises(TooManyCallsError, match="3 calls of the slope, at most 2"):
        ode(0.0, y)
