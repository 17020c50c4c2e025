"""Looks at a standing climate while it runs: every cell, every door, everything that comes and goes, in truth.

The truth of a step has extremes; which cells, for how long, how soon a bay recovers and how wet newcomers get is
sampled here. Only the steps of a phase in which doors are daily work are judged.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import inf

import numpy as np
from numpy.typing import NDArray

from controller.config.rules import verdict_rules
from controller.core.scan import ScanResult
from controller.rig.plant import Plant
from plantsim.kernel import layout as at

LEFT_OUT_S = 900.0  # so long after its door shut a bay is left out
SAMPLE_S = 10.0
LONG_S = 60.0  # between looks at everything that stands in the chamber
BIN_K, BINS = 0.01, 4000

Floats = NDArray[np.float64]


@dataclass(slots=True)
class Opening:
    """A door that was opened. shut_s, outside_s: model time of its shutting, and when a cell of the bay was last seen
    more than off_K off within LEFT_OUT_S of that (-inf: never). coldest_degC: of the bay's cells until then.

    again: the door opened anew before LEFT_OUT_S were over. over: nothing more is to be learnt of it.
    """

    bay: int
    opened_s: float
    shut_s: float = inf
    outside_s: float = -inf
    coldest_degC: float = inf
    again: bool = False
    over: bool = False


@dataclass(slots=True)
class Stay:
    """Product on one place. in_s: when it came, 0 = with the chamber or its inventory; out_s: inf while it stands.

    wetted_kg_per_m2: water that it took out of the air before it counted as settled. Times of leaving are known to
    LONG_S.
    """

    bay: int
    level: int
    tonnes: float
    in_s: float
    in_degC: float
    out_s: float = inf
    age_h: float = 0.0
    core_degC: float = 0.0
    wetted_kg_per_m2: float = 0.0
    film_kg_per_m2_max: float = 0.0


@dataclass(slots=True)
class Cell:
    """The cell farthest from what was asked, of those that are judged."""

    degC: float
    bay: int
    level: int
    time_s: float


@dataclass(slots=True)
class Seen:
    """What was seen so far. off: how many cells were so many BIN_K off, at all samples; rh_*: of judged cells, %."""

    off: NDArray[np.int64] = field(default_factory=lambda: np.zeros(BINS, dtype=np.int64))
    rh_sum: float = 0.0
    rh_count: int = 0
    rh_min: float = inf
    coldest: Cell | None = None
    hottest: Cell | None = None
    openings: list[Opening] = field(default_factory=list)
    stays: list[Stay] = field(default_factory=list)
    open_s: float = 0.0  # all doors together
    left_out: float = 0.0  # samples x share of the cells that were not judged
    samples: int = 0


class Watch:
    """Called after every scan. asked_degC: what every cell should be; settle_s: so long is product a newcomer;
    phases: numbers of those that are judged. off_K: how far a cell may be from what was asked, by the verdict.
    """

    def __init__(self, plant: Plant, asked_degC: float, settle_s: float, phases: frozenset[int]) -> None:
        room = plant.params.room
        self.seen = Seen()
        self.asked_degC, self.settle_s = asked_degC, settle_s
        self._phases = phases
        self.off_K = verdict_rules().settled_off_K_max
        self._chamber = plant.chamber
        self._air = plant.chamber.state.air
        self._shape = (room.bays, room.depth_cells * room.levels)
        self._levels = room.levels
        self._every = max(1, round(SAMPLE_S / plant.chamber.dt_s))
        self._long = max(1, round(LONG_S / plant.chamber.dt_s))
        self._number = 0
        self._open: dict[int, Opening] = {}  # by bay from 0: the newest that is not over
        self._standing: dict[tuple[int, int], Stay] = {}
        chamber = plant.chamber
        chamber.judge(settle_s=settle_s, door_settle_s=LEFT_OUT_S)

    def look(self, _plant: Plant, result: ScanResult) -> None:
        """One scan has passed."""
        self._number += 1
        if self._number % self._every:
            return
        now = self._chamber.time_s
        T = self._air[at.AIR_T].reshape(self._shape)
        shut = self._chamber.door_shut_s()
        self._doors(now, shut, T)
        if self._number % self._long == 0:
            self._stays(now)
        if result.state.sequence.phase in self._phases:
            self._cells(now, shut >= LEFT_OUT_S, T)

    def finish(self) -> Seen:
        """What was seen, with what stands there at the end."""
        self._stays(self._chamber.time_s)
        self.seen.open_s = float(self._chamber.door_open_s().sum())
        return self.seen

    def _cells(self, now: float, judged: NDArray[np.bool_], T: Floats) -> None:
        seen = self.seen
        seen.samples += 1
        seen.left_out += 1.0 - float(judged.mean())
        if not judged.any():
            return
        off = T[judged] - self.asked_degC
        bins = np.minimum((np.abs(off) / BIN_K).astype(np.int64).ravel(), BINS - 1)
        counts = np.bincount(bins)
        seen.off[: len(counts)] += counts
        rh = 100.0 * self._air[at.AIR_RH].reshape(self._shape)[judged]
        seen.rh_sum += float(rh.sum())
        seen.rh_count += rh.size
        seen.rh_min = min(seen.rh_min, float(rh.min()))
        if seen.coldest is None or off.min() + self.asked_degC < seen.coldest.degC:
            seen.coldest = self._cell(judged, off, int(off.argmin()), now)
        if seen.hottest is None or off.max() + self.asked_degC > seen.hottest.degC:
            seen.hottest = self._cell(judged, off, int(off.argmax()), now)

    def _cell(self, judged: NDArray[np.bool_], off: Floats, index: int, now: float) -> Cell:
        row, place = divmod(index, self._shape[1])
        bay = int(np.flatnonzero(judged)[row]) + 1
        return Cell(float(off.flat[index]) + self.asked_degC, bay, place % self._levels + 1, now)

    def _doors(self, now: float, shut: Floats, T: Floats) -> None:
        """Follow every opening until its bay has had LEFT_OUT_S to recover."""
        for b in np.flatnonzero(shut < LEFT_OUT_S + 2.0 * SAMPLE_S).tolist():
            since = float(shut[b])
            was = self._open.get(b)
            if was is not None and was.shut_s < inf and now - since > was.shut_s + 1.0:
                was.again, was.over = not was.over, True
                was = None
            if was is None:
                if since > LEFT_OUT_S:
                    continue
                # a door that was opened and shut between two samples was seen only shut
                was = self._open[b] = Opening(b + 1, now - since if since else now)
                self.seen.openings.append(was)
            if since > 0.0:
                was.shut_s = now - since
            was.over = was.over or since > LEFT_OUT_S
            if was.over:
                continue
            coldest, hottest = float(T[b].min()), float(T[b].max())
            was.coldest_degC = min(was.coldest_degC, coldest)
            if max(hottest - self.asked_degC, self.asked_degC - coldest) > self.off_K:
                was.outside_s = now

    def _stays(self, now: float) -> None:
        """Who came, who left, how wet the newcomers are."""
        positions = self._chamber.positions()
        there = positions.occupied
        for bay, level in np.argwhere(there).tolist():
            came = float(positions.placed_s[bay, level])
            stay = self._standing.get((bay, level))
            if stay is None or stay.in_s != came:
                if stay is not None:
                    stay.out_s = came
                tonnes, degC = float(positions.tonnes[bay, level]), float(positions.core_degC[bay, level])
                stay = self._standing[bay, level] = Stay(bay + 1, level + 1, tonnes, came, degC)
                self.seen.stays.append(stay)
            stay.age_h = float(positions.age40_h[bay, level])
            stay.core_degC = float(positions.core_degC[bay, level])
            if now - came <= self.settle_s + LONG_S:
                stay.wetted_kg_per_m2 = float(positions.gained_kg_per_m2[bay, level])
                stay.film_kg_per_m2_max = max(stay.film_kg_per_m2_max, float(positions.film_kg_per_m2[bay, level]))
        for place in [place for place in self._standing if not there[place]]:
            self._standing.pop(place).out_s = now
