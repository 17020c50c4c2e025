"""From parameters to the packed constants and the first state of the kernel."""

from __future__ import annotations

import numpy as np

from plantsim.charge import Charge
from plantsim.filling import names
from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats, Whole
from plantsim.pack.air import pack_air
from plantsim.pack.fog import pack_fog
from plantsim.pack.heat import pack_heat
from plantsim.pack.mixes import concretes
from plantsim.pack.places import beside_frames, count
from plantsim.pack.probes import pack_probes, source
from plantsim.pack.product import loaded_cells, pack_cells, pack_product
from plantsim.pack.room import pack_floor, pack_walls
from plantsim.pack.stable import require_stable
from plantsim.pack.start import pack_start, set_air
from plantsim.pack.vents import pack_vents
from plantsim.pack.ways import pack_ways
from plantsim.params import PlantParams

__all__ = ["loaded_cells", "pack", "set_air"]


def pack(params: PlantParams, charge: Charge, dt_s: float) -> tuple[Floats, Whole, Floats]:
    """(const, whole, state) of a chamber that has just been filled. ValueError for parameters that do not fit."""
    size = (params.room.bays, params.room.depth_cells, params.room.levels, len(params.probe))
    const = np.zeros(at.const_size(*size))
    state = np.zeros(at.state_size(*size))
    c = at.const_views(const, *size)
    v = at.state_views(state, *size)
    pack_ways(c, params)
    loaded = loaded_cells(params, charge)
    fill = charge.tonnes / params.product.nominal_t * loaded * (loaded.size / max(loaded.sum(), 1.0))
    pack_air(c.k, params, dt_s)
    pack_vents(c, params, dt_s)
    pack_heat(c.k, params, dt_s)
    pack_fog(c.k, params, dt_s)
    pack_product(c.k, params)
    pack_floor(c.k, params)
    mixes = concretes(params)
    if charge.mix not in mixes:
        raise ValueError(f"mix {charge.mix!r} of the charge is unknown; known: {names(mixes)}")
    pack_cells(c.cell, params, fill, mixes[charge.mix], dt_s)
    c.k[at.K_TONNES] = charge.tonnes if loaded.any() else 0.0
    c.k[at.K_PRODUCT_AREA] = c.cell[at.C_PRODUCT_M2].sum()
    pack_walls(c.wall, params)
    require_stable(c, params, dt_s)
    pack_start(v, c, params, charge, fill, mixes[charge.mix])
    sources = [source(params, probe, loaded) for probe in params.probe]
    pack_probes(c, params, dt_s)
    whole = np.concatenate([size, np.arange(count(params.room)), beside_frames(params.room), sources]).astype(np.int64)
    return const, whole, state
