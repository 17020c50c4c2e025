"""The way of the fan's air: what every outlet lets out, which cell hands it on to which, and where it returns."""

from __future__ import annotations

import numpy as np

from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats, Tables
from plantsim.pack.common import MisfitError
from plantsim.pack.places import count
from plantsim.params import PlantParams


def pack_ways(c: Tables, p: PlantParams) -> None:
    """Shares of columns and cells in the fan's flow. MisfitError for outlets that do not suit the room."""
    opened = outlets(p)
    of_bay = shares(p) if not p.fan.outlet else opened.sum(axis=1)
    c.share[:] = np.repeat(of_bay, p.room.depth_cells) / p.room.depth_cells
    supply, order = spread(opened, p)
    passed = np.zeros_like(supply)
    before = np.full(supply.size, -1.0)
    returned = np.zeros_like(supply)
    for way in order:
        passed[way] = np.cumsum(supply[way])
        before[way[1:]] = way[:-1]
        returned[way[-1]] = passed[way[-1]]
    c.cell[at.C_SUPPLY], c.cell[at.C_PASS] = supply, passed
    c.cell[at.C_RETURN], c.cell[at.C_BEFORE] = returned, before
    c.k[at.K_THROUGH] = float(p.fan.pattern != "down" or bool(p.fan.outlet))
    c.k[at.K_PASS_MAX] = max(float(c.share.max()), 0.0) if c.k[at.K_THROUGH] < 0.5 else float(passed.max())


def outlets(p: PlantParams) -> Floats:
    """Share of every outlet in the flow, bays x levels, level 1 first; adds up to 1."""
    room, fan = p.room, p.fan
    if not fan.outlet:
        usual = np.zeros((room.bays, room.levels))
        usual[:, {"down": slice(-1, None), "up": slice(0, 1), "across": slice(None)}[fan.pattern]] = 1.0
        usual *= shares(p)[:, None]
        return np.asarray(usual / usual.sum())
    if fan.bay_share:
        raise MisfitError("fan.bay_share", list(fan.bay_share), "not beside fan.outlet", "say it in fan.outlet alone")
    sizes = [len(bay) for bay in fan.outlet]
    if len(sizes) != room.bays or set(sizes) != {room.levels}:
        limit = f"one list of {room.levels} levels for each of {room.bays} bays"
        raise MisfitError("fan.outlet", f"lists of {sizes}", limit, "give an opening for every bay and level, 0 = shut")
    given = np.array(fan.outlet, dtype=float)
    if given.sum() <= 0.0:
        raise MisfitError("fan.outlet", "all 0", "at least one outlet is open", "open one")
    return np.asarray(given / given.sum())


def shares(p: PlantParams) -> Floats:
    """Share of each bay in the fan's flow through the usual outlets; adds up to 1."""
    given = p.fan.bay_share
    if given and len(given) != p.room.bays:
        limit = f"one entry for each of {p.room.bays} bays"
        raise MisfitError("fan.bay_share", list(given), limit, "give every bay its share, or none")
    share = np.array(given if given else [1.0] * p.room.bays)
    return np.asarray(share / share.sum())


def spread(opened: Floats, p: PlantParams) -> tuple[Floats, list[list[int]]]:
    """(supply of every cell, the cells of every way in the order in which the air passes them).

    Down and up: an outlet lets its air out evenly along the depth. Across: all of it at the back.
    """
    room = p.room
    number = np.arange(count(room)).reshape(room.bays, room.depth_cells, room.levels)
    supply = np.zeros(number.shape)
    if p.fan.pattern == "across":
        supply[:, -1, :] = opened
        ways = number[:, ::-1, :].transpose(0, 2, 1)
    else:
        supply[:] = opened[:, None, :] / room.depth_cells
        ways = number[:, :, ::-1] if p.fan.pattern == "down" else number
    return supply.ravel(), [[int(i) for i in way] for way in ways.reshape(-1, ways.shape[-1])]
