"""A chamber as dy/dt = f(y) for stiff solvers from outside: which states, their sizes, and which hang on which.

y has the states of a cell one after another, the cells bay by bay and level by level in each, so that what is
next to each other in the chamber is near each other in y; then door frames, floor, fan and coil. Drives are where they
were last sent to: the solver begins anew when they move.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plantsim.chamber import Chamber
from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats, Whole
from plantsim.kernel.moistair import flash
from plantsim.kernel.slope import slope

STEP_S = 1e-3  # behind the slope
# Sizes of states, for absolute tolerances: H J, water kg, skin and core degC, film and inner water kg, age h, board
# degC and film kg, skin of the envelope degC and film kg.
CELL_SIZES = (5e5, 0.2, 30.0, 30.0, 0.1, 0.1, 10.0, 30.0, 0.1, 30.0, 0.1)
FRAME_SIZES, FLOOR_SIZE, GEAR_SIZES = (30.0, 0.1), 30.0, (100.0, 1e4)  # degC, kg; degC; %, W
NUDGE = 1e-7  # of a state's size, for the Jacobian


class TooManyCallsError(RuntimeError):
    """A solver has asked for the slope more often than it may."""


class Slope:
    """The slope of a chamber made for steps of STEP_S, with one cell from front to back.

    The chamber is scratch: what is not in y stays in it, what is in y is put into it at every call.
    calls: of the slope so far; beyond calls_most it raises TooManyCallsError.
    """

    def __init__(self, chamber: Chamber) -> None:
        self.chamber = chamber
        room = chamber.params.room
        self._bays, self._levels = room.bays, room.levels
        numbers = np.arange(chamber._state.size, dtype=np.float64)
        v = at.state_views(numbers, room.bays, room.depth_cells, room.levels, len(chamber.params.probe))
        n = room.bays * room.levels
        rows = [
            v.air[at.AIR_H], v.air[at.AIR_WATER], v.product[at.P_SKIN], v.product[at.P_CORE], v.product[at.P_FILM],
            v.product[at.P_INNER], v.product[at.P_AGE_h], v.board[at.S_T], v.board[at.S_FILM], v.wall[at.S_T, :n],
            v.wall[at.S_FILM, :n],
        ]  # fmt: skip
        cells = np.array(rows).reshape((len(rows), room.bays, room.levels)).transpose(1, 2, 0)
        rest = [v.wall[:, n:], v.floor, v.gear[[at.G_SPEED, at.G_COIL_W]]]
        self._where: Whole = np.concatenate([cells.ravel(), *(part.ravel() for part in rest)]).astype(np.int64)
        frames = np.repeat(FRAME_SIZES, room.bays)
        self.size: Floats = np.concatenate(
            [np.tile(CELL_SIZES, n), frames, np.full(v.floor.size, FLOOR_SIZE), GEAR_SIZES]
        )
        self.calls, self.calls_most = 0, 2**62

    def begin(self, outputs: Sequence[float]) -> None:
        """Outputs from here on, drives where they send them."""
        send(self.chamber, outputs)

    def of(self, chamber: Chamber) -> Floats:
        """y of a chamber of the same size."""
        return np.asarray(chamber._state[self._where])

    def __call__(self, _t: float, y: Floats) -> Floats:
        """dy/dt, per second."""
        c, dy = self.chamber, np.empty_like(y)
        self.calls += 1
        if self.calls > self.calls_most:
            raise TooManyCallsError(f"{self.calls} calls of the slope, at most {self.calls_most}")
        slope(y, c._const, c._whole, c._state, c._drive, self._where, STEP_S, c._kinds, dy)
        return dy

    def pattern(self) -> NDArray[np.bool_]:
        """[i, j]: state i hangs on state j. Found by nudging each of them."""
        random = np.random.default_rng(1)
        y = self.of(self.chamber) * (1.0 + 1e-3 * random.standard_normal(self.size.size))
        before = self(0.0, y)
        found = np.zeros((y.size, y.size), dtype=bool)
        for j in range(y.size):
            nudged = y.copy()
            nudged[j] += 1e-4 * self.size[j]
            found[:, j] = self(0.0, nudged) != before
        return found

    def temperatures(self, y: Floats) -> Floats:
        """Air, product skin and core, boards, envelope: of every cell, degC."""
        n, room = self._bays * self._levels, self.chamber.params.room
        cells = y[: n * len(CELL_SIZES)].reshape((n, len(CELL_SIZES)))
        M = room.dry_air_kg / n
        air = [flash(h / M, w / M, room.pressure_Pa)[0] for h, w in cells[:, :2]]
        return np.concatenate([air, cells[:, 2], cells[:, 3], cells[:, 7], cells[:, 9]])


def send(chamber: Chamber, outputs: Sequence[float]) -> None:
    """Outputs to a chamber whose drives are there at once."""
    chamber._drive[: at.D_OUTPUTS] = outputs[: at.D_OUTPUTS]
    gear = chamber.state.gear
    gear[at.G_MOTOR] = gear[at.G_VALVE] = outputs[3]
    gear[at.G_DAMPER_MOTOR] = gear[at.G_DAMPER] = outputs[4]


def jacobian(ode: Slope, groups: NDArray[np.int64], rows: Any, columns: Any, y: Floats) -> Floats:
    """Entries of the Jacobian at (rows, columns), from one call for each group of columns that share no row."""
    nudges = NUDGE * ode.size
    before = ode(0.0, y)
    nudged = (y + np.where(groups == group, nudges, 0.0) for group in range(groups.max() + 1))
    moved = np.array([ode(0.0, each) - before for each in nudged])
    return np.asarray(moved[groups[columns], rows] / nudges[columns])
