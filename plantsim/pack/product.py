"""Product, boards and racks: scalars, and what every cell holds."""

from __future__ import annotations

import numpy as np

from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats
from plantsim.params import PlantParams

LIQUID_J_PER_KG_K = 4186.0


def pack_product(k: Floats, p: PlantParams) -> None:
    """Constants of product, boards and envelope films into k."""
    product = p.product
    k[at.K_ACTIVITY], k[at.K_WETTED] = product.water_activity, product.wetted_fraction
    k[at.K_PRODUCT_HOLD], k[at.K_FILM_FULL] = product.film_hold_kg_per_m2, product.film_full_kg_per_m2
    k[at.K_ABSORB], k[at.K_SKIN_SHARE] = product.absorb_s, product.skin_share
    k[at.K_HYDRATION], k[at.K_TAU] = product.hydration_J_per_kg, product.tau_h
    k[at.K_SHAPE], k[at.K_ACTIVATION] = product.shape, product.activation_J_per_mol
    k[at.K_BOARD_HOLD], k[at.K_WALL_HOLD] = p.racks.film_hold_kg_per_m2, p.envelope.film_hold_kg_per_m2


def pack_cells(cell: Floats, p: PlantParams, fill: Floats, loaded: Floats, dt: float) -> None:
    """Every cell's product, boards, cracks and share of what lands. fill: of the nominal load; loaded: 0 or 1."""
    n = fill.size
    product, racks, levels = p.product, p.racks, p.room.levels
    mass = fill * product.nominal_t * 1e3 / n
    C = mass * product.heat_J_per_kg_K
    skin = C * product.skin_share
    cell[at.C_PRODUCT_M2] = fill * product.m2_per_position
    cell[at.C_CORE_J] = np.where(loaded > 0.0, C - skin, 1.0)
    # The water within reach of the surface is part of the skin's heat capacity.
    cell[at.C_SKIN_J] = np.where(loaded > 0.0, skin - inner_kg(p, mass) * LIQUID_J_PER_KG_K, 1.0)
    G = cell[at.C_PRODUCT_M2] * product.skin_to_core_W_per_m2_K
    a, b = np.where(loaded > 0.0, skin, 1.0), cell[at.C_CORE_J]
    cell[at.C_PAIR_J] = a * b / (a + b) * (1.0 - np.exp(-G * dt * (1.0 / a + 1.0 / b)))
    cell[at.C_CEMENT] = mass * product.cement_share
    cell[at.C_BOARD_M2] = racks.steel_m2_per_position + fill * racks.boards_m2_per_position
    boards = fill * racks.boards_kg / n * racks.boards_J_per_kg_K
    cell[at.C_BOARD_J] = racks.steel_kg / n * racks.steel_J_per_kg_K + boards
    cell[at.C_LEAK] = p.room.leak_kg_per_s / n
    depth = levels - 1 - np.arange(n) % levels
    weight = np.exp(-depth / p.fog.land_levels)
    cell[at.C_LAND] = weight / weight.sum()
    cell[at.C_LAND_PRODUCT] = p.fog.land_product * loaded
    cell[at.C_LAND_BOARD] = p.fog.land_boards + p.fog.land_product * (1.0 - loaded)


def inner_kg(p: PlantParams, mass: Floats) -> Floats:
    """Water within reach of the surface, for a mass of product in kg."""
    return np.asarray(mass * p.product.skin_share * p.product.water_kg_per_kg)


def loaded_cells(params: PlantParams, charge: Charge) -> Floats:
    """1.0 for every cell with product, 0.0 for the others. ValueError for a bay that does not exist."""
    loaded = np.ones(params.room.bays * params.room.levels)
    for bay in charge.empty_bays:
        if not 1 <= bay <= params.room.bays:
            raise ValueError(f"empty bay {bay}: this chamber has bays 1..{params.room.bays}")
        loaded[(bay - 1) * params.room.levels : bay * params.room.levels] = 0.0
    return loaded if charge.tonnes > 0.0 else loaded * 0.0
