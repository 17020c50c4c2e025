"""The doors of a chamber: which are open, for how long they were, and whose bays are still disturbed by it."""

from __future__ import annotations

from math import inf

import numpy as np

from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats, Tables
from plantsim.pack.places import cells_of_bay
from plantsim.params import PlantParams


class Doors:
    """One door a bay that has one. Arrays have an entry a bay. settle_s: so long after closing is a bay disturbed."""

    def __init__(self, params: PlantParams, c: Tables, drive: Floats) -> None:
        room = params.room
        self._room, self._c, self._with = room, c, params.hall.doors
        self._drive = drive[at.DRIVE : at.DRIVE + room.bays]
        self._total_s = np.zeros(room.bays)
        self._since_s = np.zeros(room.bays)  # of the last change
        self._used = np.zeros(room.bays, dtype=bool)
        self.settle_s = 900.0

    def set(self, bay: int, open_: bool, time_s: float) -> None:
        """Open or close the door of a bay (from 1). ValueError for a bay that does not exist or has no door."""
        if not 1 <= bay <= self._room.bays:
            raise ValueError(f"door of bay {bay}: this chamber has bays 1..{self._room.bays}")
        if self._with and bay not in self._with:
            raise ValueError(f"door of bay {bay}: only bays {self._with} have one (hall.doors)")
        b = bay - 1
        if open_ == (self._drive[b] > 0.5):
            return
        if not open_:
            self._total_s[b] += time_s - self._since_s[b]
        self._drive[b], self._since_s[b], self._used[b] = float(open_), time_s, True

    def open_s(self, time_s: float) -> Floats:
        """How long each door has been open in all, s."""
        return np.asarray(self._total_s + np.where(self._drive > 0.5, time_s - self._since_s, 0.0))

    def shut_s(self, time_s: float) -> Floats:
        """For how long each door has been shut, s: 0 while it is open, inf when it never was."""
        return np.where(self._drive > 0.5, 0.0, np.where(self._used, time_s - self._since_s, inf))

    def contacts(self) -> dict[str, bool]:
        """Contact of each door -> closed."""
        bays = self._with or range(1, self._room.bays + 1)
        return {f"door_{bay}_closed": bool(self._drive[bay - 1] < 0.5) for bay in bays}

    def memory(self) -> dict[str, Floats]:
        """What it remembers, by name, live."""
        return {"door_total_s": self._total_s, "door_since_s": self._since_s, "door_used": self._used}

    def refresh(self, time_s: float) -> float:
        """Mark the cells of disturbed bays; the time at which the next one has come to rest (inf: none)."""
        shut = self.shut_s(time_s)
        disturbed = (shut < self.settle_s) | (self._drive > 0.5)
        row = self._c.cell[at.C_OPENED]
        row[:] = 0.0
        for bay in np.flatnonzero(disturbed) + 1:
            row[cells_of_bay(self._room, int(bay))] = 1.0
        self._c.k[at.K_OPENED] = row.sum()
        waiting = disturbed & (self._drive < 0.5)
        return float(self._since_s[waiting].min()) + self.settle_s if waiting.any() else inf
