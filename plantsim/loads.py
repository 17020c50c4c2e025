"""What stands at each position of a running chamber: placing and taking, with what that does to state and books.

A batch brings product and board at its own temperature; the board joins the node of rack and boards, and the two mix
by heat. Taking carries out the product with its water, and the boards with their share of the film on that node, at
the temperatures they have then. Air that they push aside is ignored, and so is air that a rack carries along.
"""

from __future__ import annotations

from math import inf

import numpy as np
from numpy.typing import NDArray

from plantsim.filling import Batch, Filling, impossible, names
from plantsim.kernel import layout as at
from plantsim.kernel.layout import Tables, Views, Whole
from plantsim.pack.mixes import Concrete, concretes
from plantsim.pack.places import cells_of, cells_of_positions
from plantsim.pack.probes import aim
from plantsim.pack.product import LIQUID_J_PER_KG_K, boards_J, inner_kg, load_cells
from plantsim.params import PlantParams

Bools = NDArray[np.bool_]


class Loads:
    """Positions of one chamber: bays x levels. Writes to the chamber's tables; placed_s is -inf where nothing stands.

    settle_s: so long after its placing a position counts as a newcomer, which the settled columns of the truth leave
    out.
    """

    def __init__(self, params: PlantParams, c: Tables, v: Views, whole: Whole, dt_s: float, mix: str) -> None:
        """Take over what the packed tables hold, all of one mix and placed at 0 s."""
        room = params.room
        self._params, self._c, self._v, self._whole, self._dt_s = params, c, v, whole, dt_s
        self.mixes: dict[str, Concrete] = concretes(params)
        self.settle_s = 0.0
        area = c.cell[at.C_PRODUCT_M2, cells_of_positions(room)].sum(axis=1).reshape(room.bays, room.levels)
        self.tonnes = area / max(area.sum(), 1.0) * float(c.k[at.K_TONNES])
        self.placed_s = np.where(self.tonnes > 0.0, 0.0, -inf)
        self.mix = np.where(self.tonnes > 0.0, mix, "").astype(object)

    @property
    def occupied(self) -> Bools:
        """Where product stands: bays x levels."""
        return np.asarray(self.tonnes > 0.0)

    def require_possible(self, filling: Filling) -> None:
        """ValueError that names every move of an ordered filling that cannot be made from here on."""
        room = self._params.room
        occupied = [(int(bay), int(level)) for bay, level in np.argwhere(self.occupied) + 1]
        wrong = impossible(filling, room.bays, room.levels, occupied, self.mixes)
        if wrong:
            raise ValueError("; ".join(wrong))

    def place(self, bay: int, level: int, batch: Batch, time_s: float) -> None:
        """ValueError when the position does not exist or has product, or when nobody knows the mix."""
        cells = cells_of(self._params.room, bay, level)
        at_ = (bay - 1, level - 1)
        if self.tonnes[at_] > 0.0:
            raise ValueError(f"bay {bay} level {level} has product since {self.placed_s[at_] / 3600.0:.4g} h: take it")
        if batch.mix not in self.mixes:
            raise ValueError(f"mix {batch.mix!r} is unknown; known: {names(self.mixes)}")
        self._bring(cells, batch, self.mixes[batch.mix])
        self.tonnes[at_], self.placed_s[at_], self.mix[at_] = batch.tonnes, time_s, batch.mix
        self._changed()

    def take(self, bay: int, level: int) -> None:
        """ValueError when the position does not exist or has nothing."""
        cells = cells_of(self._params.room, bay, level)
        at_ = (bay - 1, level - 1)
        if self.tonnes[at_] == 0.0:
            raise ValueError(f"bay {bay} level {level} is empty: nothing can be taken from it")
        self._carry_out(cells)
        self.tonnes[at_], self.placed_s[at_], self.mix[at_] = 0.0, -inf, ""
        self._changed()

    def refresh(self, time_s: float) -> float:
        """Mark the newcomers; the time at which the next one has settled (inf: none)."""
        new = self.occupied & (self.placed_s > 0.0) & (time_s - self.placed_s < self.settle_s)
        row = self._c.cell[at.C_NEWCOMER]
        row[:] = 0.0
        for bay, level in np.argwhere(new) + 1:
            row[cells_of(self._params.room, bay, level)] = 1.0
        self._c.k[at.K_NEWCOMERS] = row.sum()
        return float(self.placed_s[new].min()) + self.settle_s if new.any() else inf

    def _bring(self, cells: Whole, batch: Batch, mix: Concrete) -> None:
        p, cell, board, product = self._params, self._c.cell, self._v.board, self._v.product
        n = cell.shape[1]
        fill = np.full(cells.size, batch.tonnes / cells.size / (p.product.nominal_t / n))
        boards = boards_J(p, fill, n)
        C = cell[at.C_BOARD_J, cells] + board[at.S_FILM, cells] * LIQUID_J_PER_KG_K
        board[at.S_T, cells] = (C * board[at.S_T, cells] + boards * batch.degC) / (C + boards)
        load_cells(cell, p, cells, fill, mix, self._dt_s)
        kg = batch.tonnes * 1e3
        water = inner_kg(p, np.full(cells.size, kg / cells.size), mix)
        product[:, cells] = 0.0
        product[at.P_SKIN, cells] = product[at.P_CORE, cells] = batch.degC
        product[at.P_INNER, cells] = water
        product[at.P_AGE_h, cells] = product[at.P_AGE40_h, cells] = batch.age_h
        energy = (kg * mix.heat_J_per_kg_K + float(boards.sum())) * batch.degC
        self._book(at.B_CHARGE_IN_J, energy, at.B_CHARGE_IN, float(water.sum()))

    def _carry_out(self, cells: Whole) -> None:
        p, cell, board, product = self._params, self._c.cell, self._v.board, self._v.product
        n = cell.shape[1]
        boards = cell[at.C_BOARD_J, cells] - p.racks.steel_kg / n * p.racks.steel_J_per_kg_K
        share = 1.0 - p.racks.steel_m2_per_position / p.room.depth_cells / cell[at.C_BOARD_M2, cells]
        film = share * board[at.S_FILM, cells]
        water = product[at.P_FILM, cells] + product[at.P_INNER, cells]
        energy = (cell[at.C_SKIN_J, cells] + water * LIQUID_J_PER_KG_K) * product[at.P_SKIN, cells]
        energy += cell[at.C_CORE_J, cells] * product[at.P_CORE, cells]
        energy += (boards + film * LIQUID_J_PER_KG_K) * board[at.S_T, cells]
        board[at.S_FILM, cells] -= film
        load_cells(cell, p, cells, np.zeros(cells.size), self.mixes[""], self._dt_s)
        product[:, cells] = 0.0
        product[at.P_SKIN, cells] = product[at.P_CORE, cells] = board[at.S_T, cells]
        self._book(at.B_CHARGE_OUT_J, float(energy.sum()), at.B_CHARGE_OUT, float((water + film).sum()))

    def _book(self, energy_at: int, energy_J: float, water_at: int, water_kg: float) -> None:
        books = self._v.books
        books[energy_at] += energy_J
        books[water_at] += water_kg
        books[at.B_ABS_J] += abs(energy_J)
        books[at.B_ABS] += water_kg

    def _changed(self) -> None:
        k = self._c.k
        k[at.K_PRODUCT_AREA] = self._c.cell[at.C_PRODUCT_M2].sum()
        k[at.K_TONNES] = self.tonnes.sum()
        aim(self._whole, self._params, (self._c.cell[at.C_PRODUCT_M2] > 0.0).astype(float))
