"""Which cells are a position: the one place that knows how cells are numbered by bay and level."""

from __future__ import annotations

import numpy as np

from plantsim.kernel.layout import Whole
from plantsim.params import Room


def cells_of(room: Room, bay: int, level: int) -> Whole:
    """The cells of the position (bay, level), both from 1. ValueError for a place that does not exist."""
    if not (1 <= bay <= room.bays and 1 <= level <= room.levels):
        raise ValueError(
            f"bay {bay} level {level}: this chamber has bays 1..{room.bays} and levels 1..{room.levels}"
        )
    return np.array([(bay - 1) * room.levels + level - 1], dtype=np.int64)


def cells_of_bay(room: Room, bay: int) -> Whole:
    """All cells of a bay."""
    return np.concatenate([cells_of(room, bay, level) for level in range(1, room.levels + 1)])


def cells_of_positions(room: Room) -> Whole:
    """Positions x cells of each, bay by bay, level 1 first."""
    places = [(bay, level) for bay in range(1, room.bays + 1) for level in range(1, room.levels + 1)]
    return np.array([cells_of(room, bay, level) for bay, level in places], dtype=np.int64)
