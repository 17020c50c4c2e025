"""Charges that come and go: batches, the moves that carry them and the doors, and the order of moves.

A filling is a tuple of moves in order. What happens in the same second happens in this order: doors open, batches
are taken, batches are placed, doors close; among equals the lower bay and then the lower level first.

    filling = in_order([Move(0.0, "open", 1), Move(60.0, "place", 1, 3, Batch(1.5, 20.0))])
    chamber = Chamber(params, charge=Charge(tonnes=0.0), weather=weather, seed=1, filling=filling)
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import isfinite
from typing import Literal

What = Literal["open", "close", "place", "take"]
RANK: dict[What, int] = {"open": 0, "take": 1, "place": 2, "close": 3}
COLDEST_degC, HOTTEST_degC = -20.0, 90.0


@dataclass(frozen=True, slots=True)
class Batch:
    """Product for one position, on its board. age_h: equivalent age at 20 degC; mix: a name, "" = the product section.

    The board comes with it, in proportion to the tonnes and at the same temperature.
    """

    tonnes: float
    degC: float
    age_h: float = 0.0
    mix: str = ""

    def __post_init__(self) -> None:
        """ValueError for a batch that cannot be."""
        if not 0.0 < self.tonnes < 1e4:
            raise ValueError(f"batch of {self.tonnes} t: must be above 0 and below 10,000 t; give what is on the board")
        if not COLDEST_degC <= self.degC <= HOTTEST_degC:
            raise ValueError(f"batch of {self.degC} degC: must be {COLDEST_degC:g} to {HOTTEST_degC:g} degC")
        if not 0.0 <= self.age_h < 1e5:
            raise ValueError(f"batch with an age of {self.age_h} h: must be 0 to 100,000 h")


@dataclass(frozen=True, slots=True)
class Move:
    """What happens at a second: a door of a bay, or a batch at a position (bay and level from 1)."""

    time_s: float
    what: What
    bay: int
    level: int = 0
    batch: Batch | None = None

    def __str__(self) -> str:
        place = f"bay {self.bay}" + (f" level {self.level}" if self.what in ("place", "take") else "")
        return f"{self.what} {place} at {self.time_s / 3600.0:.4g} h"


Filling = tuple[Move, ...]


def in_order(moves: Iterable[Move]) -> Filling:
    """The moves as they will be made."""
    return tuple(sorted(moves, key=lambda move: (move.time_s, RANK[move.what], move.bay, move.level)))


def impossible(
    filling: Filling, bays: int, levels: int, occupied: Iterable[tuple[int, int]] = (), mixes: Iterable[str] = ("",)
) -> list[str]:
    """In words, every move of an ordered filling that cannot be made in a chamber of this size.

    occupied: positions (bay, level) with product before the first move; mixes: the names that the model knows.
    """
    inside, known = set(occupied), set(mixes)
    found = []
    for move in filling:
        where = (move.bay, move.level)
        wrong = _misplaced(move, bays, levels)
        if not wrong and move.what == "place":
            wrong = "there is product already: take it out first" if where in inside else ""
            if move.batch is None:
                wrong = "nothing to place: give a batch"
            elif move.batch.mix not in known:
                wrong = f"mix {move.batch.mix!r} is unknown; known: {names(known)}"
            inside.add(where)
        elif not wrong and move.what == "take":
            wrong = "" if where in inside else "nothing stands there: place something first"
            inside.discard(where)
        if wrong:
            found.append(f"{move}: {wrong}")
    return found


def most_tonnes(filling: Filling) -> float:
    """The most that stands inside at a time, when the chamber begins empty."""
    inside: dict[tuple[int, int], float] = {}
    most = 0.0
    for move in filling:
        if move.batch is not None and move.what == "place":
            inside[move.bay, move.level] = move.batch.tonnes
            most = max(most, sum(inside.values()))
        elif move.what == "take":
            inside.pop((move.bay, move.level), None)
    return most


def names(mixes: Iterable[str]) -> str:
    """Names of mixes in words; the product section has none."""
    return ", ".join(name or "(none)" for name in sorted(mixes))


def _misplaced(move: Move, bays: int, levels: int) -> str:
    if not (isfinite(move.time_s) and move.time_s >= 0.0):
        return "the time must be 0 or later"
    if not 1 <= move.bay <= bays:
        return f"this chamber has bays 1..{bays}"
    if move.what in ("place", "take") and not 1 <= move.level <= levels:
        return f"this chamber has levels 1..{levels}"
    return ""
