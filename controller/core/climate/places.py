"""Places in a chamber: what a few probes say of all positions, as fixed weights."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import itemgetter

_LEVELS_PER_BAY = 4.0  # a bay is about as wide as four levels are high

Picker = Callable[[tuple[float, ...]], tuple[float, ...]]
Place = tuple[int, int]  # bay, level, both from 1


def positions(bays: int, levels: int) -> tuple[Place, ...]:
    """All places, bay-major: index = (bay - 1) * levels + (level - 1)."""
    return tuple((bay, level) for bay in range(1, bays + 1) for level in range(1, levels + 1))


def shares(place: Place, probes: Sequence[Place]) -> tuple[float, ...]:
    """Weight of each probe in the estimate for a place: inverse squared distance, summing to one.

    At a probe's own place it is that probe alone. Beyond the outermost probes the estimate is flat.
    """
    squares = [(_LEVELS_PER_BAY * (bay - place[0])) ** 2 + float((level - place[1]) ** 2) for bay, level in probes]
    if 0.0 in squares:
        hits = squares.count(0.0)
        return tuple(1.0 / hits if square == 0.0 else 0.0 for square in squares)
    total = sum(1.0 / square for square in squares)
    return tuple(1.0 / (square * total) for square in squares)


def row(place: Place, dummies: Sequence[Place], air: Sequence[Place], air_share: float) -> tuple[float, ...]:
    """Weights on (dummy readings, air readings) that give the product temperature of a place.

    It is the dummies' temperature there, plus a share of how much the local air differs from the air at the dummies.
    A reading common to all air probes cancels.
    """
    of_dummies = shares(place, dummies)
    here = shares(place, air) if air else ()
    there = [shares(dummy, air) for dummy in dummies] if air else []
    of_air = [
        air_share * (weight - sum(of_dummies[d] * there[d][k] for d in range(len(dummies))))
        for k, weight in enumerate(here)
    ]
    return (*of_dummies, *of_air)


def picker(columns: Sequence[int]) -> Picker:
    """A function that picks these columns of a tuple as a tuple, whatever their number; neighbours as one slice."""
    first = columns[0] if columns else 0
    if list(columns) == list(range(first, first + len(columns))):
        return itemgetter(slice(first, first + len(columns)))
    return itemgetter(*columns)
