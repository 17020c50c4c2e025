"""Surfaces with a film of water: boards with racks, envelope skins, door frames.

Vapour moves as h_m A (W - Ws(T_surface)), with h_m = h_c / (c_p Le**(2/3)); evaporation takes no more than the film
holds. The surface keeps (C + film c_l) T, so the latent heat lands where the water does.
"""

from __future__ import annotations

from numba import njit

from plantsim.kernel.layout import (
    AIR_H,
    AIR_T,
    AIR_W,
    AIR_WATER,
    B_ABS,
    B_ABS_J,
    B_DRAIN,
    B_DRAIN_J,
    B_FRAMES,
    B_ON_BOARDS,
    B_ON_ENVELOPE,
    B_WALL_J,
    C_BOARD_J,
    C_BOARD_M2,
    C_LAND_BOARD,
    C_LAND_PRODUCT,
    D_OUT_T,
    G_FRAME_W,
    K_BOARD_HOLD,
    K_PRESSURE,
    K_WALL_HOLD,
    L_HEATED,
    L_J,
    L_M2,
    L_OUT_W_K,
    S_FILM,
    S_T,
    X_LANDED,
    X_LANDED_J,
    X_WS,
    Floats,
    Whole,
)
from plantsim.kernel.moistair import LIQUID_J_PER_KG_K, MOLAR_RATIO, psat, vapour_enthalpy

# h_c / h_m: specific heat of humid air times Le**(2/3), Le about 0.87
LEWIS_J_PER_KG_K = 1040.0 * 0.91


@njit(cache=True, error_model="numpy")
def saturate(temperature_degC: Floats, Ws: Floats, pressure_Pa: float) -> None:
    """Moisture content at saturation of a row of temperatures, into Ws. A plain loop: it compiles to vectors."""
    for i in range(temperature_degC.size):
        p = psat(temperature_degC[i])
        Ws[i] = MOLAR_RATIO * p / (pressure_Pa - p)


@njit(cache=True, error_model="numpy")
def vapour_to(kg_per_dW: float, W: float, Ws: float, film_kg: float) -> float:
    """Water that reaches a surface in a step, kg; negative when it leaves, and then at most the film."""
    return max(kg_per_dW * (W - Ws), -film_kg)


@njit(cache=True, error_model="numpy")
def expose_boards(
    k: Floats, cell: Floats, air: Floats, board: Floats, work: Floats, books: Floats, h_c: float, dt: float
) -> None:
    """Heat and water between air and boards for dt, droplets that land, and what drips off."""
    saturate(board[S_T], work[X_WS], k[K_PRESSURE])
    condensed = 0.0
    for i in range(board.shape[1]):
        area = cell[C_BOARD_M2, i]
        film = board[S_FILM, i]
        T_air, T = air[AIR_T, i], board[S_T, i]
        water = vapour_to(h_c / LEWIS_J_PER_KG_K * area * dt, air[AIR_W, i], work[X_WS, i], film)
        heat = h_c * area * dt * (T_air - T) + water * vapour_enthalpy(T_air)
        air[AIR_H, i] -= heat
        air[AIR_WATER, i] -= water
        landed = cell[C_LAND_BOARD, i]
        heat += landed * work[X_LANDED_J, i]
        new = film + water + landed * work[X_LANDED, i]
        C = cell[C_BOARD_J, i]
        board[S_T, i] = ((C + film * LIQUID_J_PER_KG_K) * T + heat) / (C + new * LIQUID_J_PER_KG_K)
        board[S_FILM, i] = drip(books, new, k[K_BOARD_HOLD] * area, board[S_T, i])
        condensed += max(water, 0.0)
    books[B_ON_BOARDS] += condensed


@njit(cache=True, error_model="numpy")
def expose_walls(
    k: Floats,
    cell: Floats,
    skin: Floats,
    at_cell: Whole,
    air: Floats,
    wall: Floats,
    work: Floats,
    gear: Floats,
    books: Floats,
    drive: Floats,
    h_c: float,
    dt: float,
) -> None:
    """The same for envelope skins and door frames, with their losses to the outdoors and the frames' heating."""
    saturate(wall[S_T], work[X_WS], k[K_PRESSURE])
    n = air.shape[1]
    condensed, lost, lost_abs, heated = 0.0, 0.0, 0.0, 0.0
    for j in range(wall.shape[1]):
        area = skin[L_M2, j]
        if area == 0.0:
            continue
        i = at_cell[j]
        film = wall[S_FILM, j]
        T_air, T = air[AIR_T, i], wall[S_T, j]
        water = vapour_to(h_c / LEWIS_J_PER_KG_K * area * dt, air[AIR_W, i], work[X_WS, j], film)
        heat = h_c * area * dt * (T_air - T) + water * vapour_enthalpy(T_air)
        air[AIR_H, i] -= heat
        air[AIR_WATER, i] -= water
        loss = skin[L_OUT_W_K, j] * dt * (drive[D_OUT_T] - T)
        warmth = skin[L_HEATED, j] * gear[G_FRAME_W] * dt
        heat += loss + warmth
        new = film + water
        if j < n:
            landed = 1.0 - cell[C_LAND_PRODUCT, i] - cell[C_LAND_BOARD, i]
            heat += landed * work[X_LANDED_J, i]
            new += landed * work[X_LANDED, i]
        C = skin[L_J, j]
        wall[S_T, j] = ((C + film * LIQUID_J_PER_KG_K) * T + heat) / (C + new * LIQUID_J_PER_KG_K)
        wall[S_FILM, j] = drip(books, new, k[K_WALL_HOLD] * area, wall[S_T, j])
        condensed += max(water, 0.0)
        lost += loss
        lost_abs += abs(loss)
        heated += warmth
    books[B_ON_ENVELOPE] += condensed
    books[B_WALL_J] += lost
    books[B_FRAMES] += heated
    books[B_ABS_J] += lost_abs + heated


@njit(cache=True, error_model="numpy")
def drip(books: Floats, film_kg: float, most_kg: float, temperature_degC: float) -> float:
    """The film that stays; what is more than the surface holds runs to the drain."""
    over = film_kg - most_kg
    if over <= 0.0:
        return film_kg
    energy = over * LIQUID_J_PER_KG_K * temperature_degC
    books[B_DRAIN] += over
    books[B_DRAIN_J] += energy
    books[B_ABS] += over
    books[B_ABS_J] += abs(energy)
    return most_kg
