"""Which cells are a position or a bay, and how many there are: the one place that knows how cells are numbered.

(bay * depth + place along the depth, 0 = in front) * levels + level, all from 0.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from plantsim.kernel.layout import Whole
from plantsim.params.room import Room


def cells_of(room: Room, bay: int, level: int) -> Whole:
    """The cells of the position (bay, level), both from 1, front to back. ValueError where there is none."""
    _require(room, bay, level)
    return (np.arange(room.depth_cells, dtype=np.int64) + (bay - 1) * room.depth_cells) * room.levels + level - 1


def cells_of_bay(room: Room, bay: int) -> Whole:
    """All cells of a bay, level 1 first. ValueError where there is none."""
    _require(room, bay, 1)
    return cells_of_positions(room)[(bay - 1) * room.levels : bay * room.levels].ravel()


def cells_of_positions(room: Room) -> Whole:
    """Positions x cells of each, bay by bay, level 1 first. Read only."""
    return _positions(room.bays, room.depth_cells, room.levels)


@lru_cache(maxsize=8)
def _positions(bays: int, depth_cells: int, levels: int) -> Whole:
    bay, level, place = np.ogrid[0:bays, 0:levels, 0:depth_cells]
    cells: Whole = ((place + bay * depth_cells) * levels + level).reshape(bays * levels, depth_cells).astype(np.int64)
    cells.flags.writeable = False  # one for all who ask
    return cells


def _require(room: Room, bay: int, level: int) -> None:
    if not (1 <= bay <= room.bays and 1 <= level <= room.levels):
        raise ValueError(
            f"bay {bay} level {level}: this chamber has bays 1..{room.bays} and levels 1..{room.levels}"
        )


def beside_frames(room: Room) -> Whole:
    """The cell beside each bay's door frame: in front, at the middle level."""
    return np.array([cells_of(room, bay + 1, room.levels // 2 + 1)[0] for bay in range(room.bays)], dtype=np.int64)


def count(room: Room) -> int:
    """How many cells there are."""
    return room.bays * room.depth_cells * room.levels
