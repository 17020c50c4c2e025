"""Product, boards and racks: scalars, what every cell holds, and what a cell holds when that changes."""

from __future__ import annotations

import numpy as np

from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats, Whole
from plantsim.pack.mixes import Concrete
from plantsim.pack.places import cells_of_bay, count
from plantsim.pack.room import wall_area
from plantsim.params import PlantParams

LIQUID_J_PER_KG_K = 4186.0


def pack_product(k: Floats, p: PlantParams) -> None:
    """Constants of product, boards and envelope films into k."""
    product = p.product
    k[at.K_PRODUCT_HOLD], k[at.K_FILM_FULL] = product.film_hold_kg_per_m2, product.film_full_kg_per_m2
    k[at.K_ABSORB], k[at.K_SKIN_SHARE] = product.absorb_s, product.skin_share
    k[at.K_BOARD_HOLD], k[at.K_WALL_HOLD] = p.racks.film_hold_kg_per_m2, p.envelope.film_hold_kg_per_m2


def pack_cells(cell: Floats, p: PlantParams, fill: Floats, mix: Concrete, dt: float) -> None:
    """Every cell's product, boards, cracks and share of what lands. fill: of the nominal load, 0 = empty."""
    n, levels = fill.size, p.room.levels
    depth = p.room.depth_cells
    # Cracks are at the seals of the doors: in front.
    front = np.arange(n) // levels % depth == 0
    cell[at.C_LEAK] = np.where(front, p.room.leak_kg_per_s / (n // depth), 0.0)
    cell[at.C_LAND] = landing(cell[at.C_SUPPLY], p)
    load_cells(cell, p, np.arange(n), fill, mix, dt)


def landing(supply: Floats, p: PlantParams) -> Floats:
    """Share of each cell in what lands: from every outlet downwards, fading with the levels; adds up to 1."""
    levels = p.room.levels
    below = np.arange(levels)[:, None] - np.arange(levels)
    weight = np.where(below >= 0, np.exp(-np.maximum(below, 0) / p.fog.land_levels), 0.0)
    if p.fan.pattern == "down" and not p.fan.outlet:
        alike = np.tile(weight[-1], supply.size // levels)
        return np.asarray(alike / alike.sum())
    weight /= weight.sum(axis=1, keepdims=True)
    return np.asarray((supply.reshape(-1, levels) @ weight).ravel())


def load_cells(cell: Floats, p: PlantParams, cells: Whole, fill: Floats, mix: Concrete, dt: float) -> None:
    """Constants of some cells with this much product (of the nominal load, 0 = none) of one mix, and its boards."""
    n = cell.shape[1]
    product, racks, depth = p.product, p.racks, p.room.depth_cells
    loaded = (fill > 0.0).astype(float)
    mass = fill * product.nominal_t * 1e3 / n
    C = mass * mix.heat_J_per_kg_K
    skin = C * product.skin_share
    cell[at.C_PRODUCT_M2, cells] = fill * mix.m2_per_position / depth
    cell[at.C_CORE_J, cells] = core = C - skin
    # The water within reach of the surface is part of the skin's heat capacity.
    cell[at.C_SKIN_J, cells] = skin - inner_kg(p, mass, mix) * LIQUID_J_PER_KG_K
    G = fill * mix.m2_per_position / depth * product.skin_to_core_W_per_m2_K
    a, b = np.where(loaded > 0.0, skin, 1.0), np.where(loaded > 0.0, core, 1.0)
    cell[at.C_PAIR_J, cells] = a * b / (a + b) * (1.0 - np.exp(-G * dt * (1.0 / a + 1.0 / b)))
    cell[at.C_CEMENT, cells] = mass * mix.cement_share
    cell[at.C_HYDRATION, cells] = mass * mix.cement_share * mix.hydration_J_per_kg
    cell[at.C_ACTIVITY, cells], cell[at.C_WETTED, cells] = mix.water_activity, mix.wetted_fraction
    cell[at.C_TAU, cells], cell[at.C_SHAPE, cells] = mix.tau_h, mix.shape
    cell[at.C_ACTIVATION, cells] = mix.activation_J_per_mol
    cell[at.C_BOARD_M2, cells] = (racks.steel_m2_per_position + fill * racks.boards_m2_per_position) / depth
    cell[at.C_BOARD_J, cells] = racks.steel_kg / n * racks.steel_J_per_kg_K + boards_J(p, fill, n)
    cell[at.C_LAND_PRODUCT, cells] = p.fog.land_product * loaded
    # Where there is no wall the boards get its part.
    rest = np.where(wall_area(p)[cells] > 0.0, p.fog.land_boards + p.fog.land_product * (1.0 - loaded), 1.0)
    cell[at.C_LAND_BOARD, cells] = np.minimum(rest, 1.0 - p.fog.land_product * loaded)


def boards_J(p: PlantParams, fill: Floats, n: int) -> Floats:
    """Heat capacity of the boards of cells with this much product, J/K; n: cells of the chamber."""
    return np.asarray(fill * p.racks.boards_kg / n * p.racks.boards_J_per_kg_K)


def inner_kg(p: PlantParams, mass: Floats, mix: Concrete) -> Floats:
    """Water within reach of the surface, for a mass of product in kg."""
    return np.asarray(mass * p.product.skin_share * mix.water_kg_per_kg)


def loaded_cells(params: PlantParams, charge: Charge) -> Floats:
    """1.0 for every cell with product, 0.0 for the others. ValueError for a bay that does not exist."""
    loaded = np.ones(count(params.room))
    for bay in charge.empty_bays:
        if not 1 <= bay <= params.room.bays:
            raise ValueError(f"empty bay {bay}: this chamber has bays 1..{params.room.bays}")
        loaded[cells_of_bay(params.room, bay)] = 0.0
    return loaded if charge.tonnes > 0.0 else loaded * 0.0
