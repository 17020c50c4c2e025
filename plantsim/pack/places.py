"""Which cells are a position or a bay, and how many there are: the one place that knows how cells are numbered.

(bay * depth + place along the depth, 0 = in front) * levels + level, all from 0.
"""

from __future__ import annotations

import numpy as np

from plantsim.kernel.layout import Whole
from plantsim.params.room import Room


def cells_of(room: Room, bay: int, level: int) -> Whole:
    """The cells of the position (bay, level), both from 1, front to back. ValueError where there is none."""
    if not (1 <= bay <= room.bays and 1 <= level <= room.levels):
        raise ValueError(
            f"bay {bay} level {level}: this chamber has bays 1..{room.bays} and levels 1..{room.levels}"
        )
    return (np.arange(room.depth_cells, dtype=np.int64) + (bay - 1) * room.depth_cells) * room.levels + level - 1


def cells_of_bay(room: Room, bay: int) -> Whole:
    """All cells of a bay."""
    return np.concatenate([cells_of(room, bay, level) for level in range(1, room.levels + 1)])


def cells_of_positions(room: Room) -> Whole:
    """Positions x cells of each, bay by bay, level 1 first."""
    places = [(bay, level) for bay in range(1, room.bays + 1) for level in range(1, room.levels + 1)]
    return np.array([cells_of(room, bay, level) for bay, level in places], dtype=np.int64)


def beside_frames(room: Room) -> Whole:
    """The cell beside each bay's door frame: in front, at the middle level."""
    return np.array([cells_of(room, bay + 1, room.levels // 2 + 1)[0] for bay in range(room.bays)], dtype=np.int64)


def count(room: Room) -> int:
    """How many cells there are."""
    return room.bays * room.depth_cells * room.levels
