"""Product, boards and racks: scalars, what every cell holds, and what a cell holds when that changes."""

from __future__ import annotations

import numpy as np

from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats, Whole
from plantsim.pack.mixes import Concrete
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
    cell[at.C_LEAK] = p.room.leak_kg_per_s / n
    depth = levels - 1 - np.arange(n) % levels
    weight = np.exp(-depth / p.fog.land_levels)
    cell[at.C_LAND] = weight / weight.sum()
    load_cells(cell, p, np.arange(n), fill, mix, dt)


def load_cells(cell: Floats, p: PlantParams, cells: Whole, fill: Floats, mix: Concrete, dt: float) -> None:
    """Constants of some cells with this much product (of the nominal load, 0 = none) of one mix, and its boards."""
    n = cell.shape[1]
    product, racks = p.product, p.racks
    loaded = (fill > 0.0).astype(float)
    mass = fill * product.nominal_t * 1e3 / n
    C = mass * mix.heat_J_per_kg_K
    skin = C * product.skin_share
    cell[at.C_PRODUCT_M2, cells] = fill * mix.m2_per_position
    cell[at.C_CORE_J, cells] = core = C - skin
    # The water within reach of the surface is part of the skin's heat capacity.
    cell[at.C_SKIN_J, cells] = skin - inner_kg(p, mass, mix) * LIQUID_J_PER_KG_K
    G = fill * mix.m2_per_position * product.skin_to_core_W_per_m2_K
    a, b = np.where(loaded > 0.0, skin, 1.0), np.where(loaded > 0.0, core, 1.0)
    cell[at.C_PAIR_J, cells] = a * b / (a + b) * (1.0 - np.exp(-G * dt * (1.0 / a + 1.0 / b)))
    cell[at.C_CEMENT, cells] = mass * mix.cement_share
    cell[at.C_HYDRATION, cells] = mass * mix.cement_share * mix.hydration_J_per_kg
    cell[at.C_ACTIVITY, cells], cell[at.C_WETTED, cells] = mix.water_activity, mix.wetted_fraction
    cell[at.C_TAU, cells], cell[at.C_SHAPE, cells] = mix.tau_h, mix.shape
    cell[at.C_ACTIVATION, cells] = mix.activation_J_per_mol
    cell[at.C_BOARD_M2, cells] = racks.steel_m2_per_position + fill * racks.boards_m2_per_position
    cell[at.C_BOARD_J, cells] = racks.steel_kg / n * racks.steel_J_per_kg_K + boards_J(p, fill, n)
    cell[at.C_LAND_PRODUCT, cells] = p.fog.land_product * loaded
    cell[at.C_LAND_BOARD, cells] = p.fog.land_boards + p.fog.land_product * (1.0 - loaded)


def boards_J(p: PlantParams, fill: Floats, n: int) -> Floats:
    """Heat capacity of the boards of cells with this much product, J/K; n: cells of the chamber."""
    return np.asarray(fill * p.racks.boards_kg / n * p.racks.boards_J_per_kg_K)


def inner_kg(p: PlantParams, mass: Floats, mix: Concrete) -> Floats:
    """Water within reach of the surface, for a mass of product in kg."""
    return np.asarray(mass * p.product.skin_share * mix.water_kg_per_kg)


def loaded_cells(params: PlantParams, charge: Charge) -> Floats:
    """1.0 for every cell with product, 0.0 for the others. ValueError for a bay that does not exist."""
    loaded = np.ones(params.room.bays * params.room.levels)
    for bay in charge.empty_bays:
        if not 1 <= bay <= params.room.bays:
            raise ValueError(f"empty bay {bay}: this chamber has bays 1..{params.room.bays}")
        loaded[(bay - 1) * params.room.levels : bay * params.room.levels] = 0.0
    return loaded if charge.tonnes > 0.0 else loaded * 0.0
