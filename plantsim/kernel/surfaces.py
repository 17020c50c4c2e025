"""Surfaces with a film of water: boards with racks, envelope skins, door frames.

Vapour moves as h_m A (W - Ws(T_surface)), with h_m = h_c / (c_p Le**(2/3)); evaporation takes no more than the film
holds. The surface keeps (C + film c_l) T, so the latent heat lands where the water does.
"""

from __future__ import annotations

from plantsim.kernel.jit import inner
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
    G_NEAREST,
    G_NEAREST_WALL,
    K_BOARD_HOLD,
    K_PRESSURE,
    K_WALL_HOLD,
    L_HEATED,
    L_J,
    L_M2,
    L_OUT_W_K,
    S_FILM,
    S_T,
    X_A,
    X_B,
    X_LANDED,
    X_LANDED_J,
    X_WS,
    Floats,
    Whole,
)
from plantsim.kernel.moistair import LIQUID_J_PER_KG_K, MOLAR_RATIO, psat, vapour_enthalpy
from plantsim.kernel.rows import added, added_amounts, added_up

# h_c / h_m: specific heat of humid air times Le**(2/3), Le about 0.87
LEWIS_J_PER_KG_K = 1040.0 * 0.91
NEARLY = 0.95  # of the pressure: a surface about to boil (98 degC) gives vapour as one of this saturation


@inner
def saturate(temperature_degC: Floats, Ws: Floats, pressure_Pa: float) -> None:
    """Moisture content at saturation of a row of temperatures, into Ws. A plain loop: it compiles to vectors."""
    most = NEARLY * pressure_Pa
    for i in range(temperature_degC.size):
        p = min(psat(temperature_degC[i]), most)
        Ws[i] = MOLAR_RATIO * p / (pressure_Pa - p)


@inner
def vapour_to(kg_per_dW: float, W: float, Ws: float, film_kg: float) -> float:
    """Water that reaches a surface in a step, kg; negative when it leaves, and then at most the film."""
    return max(kg_per_dW * (W - Ws), -film_kg)


@inner
def expose_boards(
    k: Floats,
    cell: Floats,
    air: Floats,
    board: Floats,
    work: Floats,
    gear: Floats,
    books: Floats,
    h_c: float,
    dt: float,
) -> None:
    """Heat and water between air and boards for dt, droplets that land, and what drips off."""
    n = air.shape[1]
    H, water, T_air, W = air[AIR_H], air[AIR_WATER], air[AIR_T], air[AIR_W]
    T, film, Ws, moved = board[S_T], board[S_FILM], work[X_WS], work[X_A]
    area, C, landed = cell[C_BOARD_M2], cell[C_BOARD_J], cell[C_LAND_BOARD]
    landed_kg, landed_J = work[X_LANDED], work[X_LANDED_J]
    saturate(T, Ws, k[K_PRESSURE])
    gear[G_NEAREST] = nearest(W, Ws)
    h_m = h_c / LEWIS_J_PER_KG_K * dt
    for i in range(n):
        kg = vapour_to(h_m * area[i], W[i], Ws[i], film[i])
        heat = h_c * area[i] * dt * (T_air[i] - T[i]) + kg * vapour_enthalpy(T_air[i])
        H[i] -= heat
        water[i] -= kg
        moved[i] = kg
        new = film[i] + kg + landed[i] * landed_kg[i]
        warm = (C[i] + film[i] * LIQUID_J_PER_KG_K) * T[i] + heat + landed[i] * landed_J[i]
        T[i] = warm / (C[i] + new * LIQUID_J_PER_KG_K)
        film[i] = new
    books[B_ON_BOARDS] += added_up(moved[:n])
    drip(books, film, area, T, k[K_BOARD_HOLD])


@inner
def expose_walls(
    k: Floats,
    cell: Floats,
    skin: Floats,
    air: Floats,
    wall: Floats,
    work: Floats,
    gear: Floats,
    books: Floats,
    drive: Floats,
    h_c: float,
    dt: float,
) -> None:
    """The same for the envelope's skins, one a cell, with their losses to the outdoors."""
    n = air.shape[1]
    H, water, T_air, W = air[AIR_H], air[AIR_WATER], air[AIR_T], air[AIR_W]
    T, film, Ws, moved, lost = wall[S_T], wall[S_FILM], work[X_WS], work[X_A], work[X_B]
    area, C, out = skin[L_M2], skin[L_J], skin[L_OUT_W_K]
    on_product, on_board = cell[C_LAND_PRODUCT], cell[C_LAND_BOARD]
    landed_kg, landed_J = work[X_LANDED], work[X_LANDED_J]
    outdoor = drive[D_OUT_T]
    saturate(T, Ws, k[K_PRESSURE])
    gear[G_NEAREST_WALL] = nearest(W, Ws)
    h_m = h_c / LEWIS_J_PER_KG_K * dt
    for i in range(n):
        kg = vapour_to(h_m * area[i], W[i], Ws[i], film[i])
        heat = h_c * area[i] * dt * (T_air[i] - T[i]) + kg * vapour_enthalpy(T_air[i])
        H[i] -= heat
        water[i] -= kg
        moved[i] = kg
        lost[i] = out[i] * dt * (outdoor - T[i])
        landed = 1.0 - on_product[i] - on_board[i]
        new = film[i] + kg + landed * landed_kg[i]
        warm = (C[i] + film[i] * LIQUID_J_PER_KG_K) * T[i] + heat + lost[i] + landed * landed_J[i]
        T[i] = warm / (C[i] + new * LIQUID_J_PER_KG_K)
        film[i] = new
    books[B_ON_ENVELOPE] += added_up(moved[:n])
    books[B_WALL_J] += added(lost[:n])
    books[B_ABS_J] += added_amounts(lost[:n])
    drip(books, film[:n], area[:n], T[:n], k[K_WALL_HOLD])


@inner
def expose_frames(
    k: Floats,
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
    """The same for the door frames, which stand behind the skins in `wall`, with their heating."""
    n = air.shape[1]
    for j in range(n, wall.shape[1]):
        area, i = skin[L_M2, j], at_cell[j]
        film, T, T_air = wall[S_FILM, j], wall[S_T, j], air[AIR_T, i]
        if area == 0.0:  # a bay without a door has no frame
            wall[S_T, j] = T_air
            continue
        kg = vapour_to(h_c / LEWIS_J_PER_KG_K * dt * area, air[AIR_W, i], work[X_WS, j], film)
        heat = h_c * area * dt * (T_air - T) + kg * vapour_enthalpy(T_air)
        air[AIR_H, i] -= heat
        air[AIR_WATER, i] -= kg
        loss = skin[L_OUT_W_K, j] * dt * (drive[D_OUT_T] - T)
        warmth = gear[G_FRAME_W] * skin[L_HEATED, j] * dt
        C = skin[L_J, j]
        warm = (C + film * LIQUID_J_PER_KG_K) * T + heat + loss + warmth
        wall[S_T, j] = warm / (C + (film + kg) * LIQUID_J_PER_KG_K)
        wall[S_FILM, j] = film + kg
        books[B_ON_ENVELOPE] += max(kg, 0.0)
        books[B_WALL_J] += loss
        books[B_FRAMES] += warmth
        books[B_ABS_J] += abs(loss) + warmth
    drip(books, wall[S_FILM, n:], skin[L_M2, n:], wall[S_T, n:], k[K_WALL_HOLD])


@inner
def nearest(W: Floats, Ws: Floats) -> int:
    """Which surface is nearest to condensing: the highest W over Ws; the lowest number among equals."""
    best = 0
    for i in range(1, W.size):
        if W[i] * Ws[best] > W[best] * Ws[i]:
            best = i
    return best


@inner
def drip(books: Floats, film_kg: Floats, area_m2: Floats, temperature_degC: Floats, most_kg_per_m2: float) -> None:
    """What is more than a surface holds runs to the drain."""
    for i in range(film_kg.size):
        over = film_kg[i] - most_kg_per_m2 * area_m2[i]
        if over > 0.0:
            film_kg[i] -= over
            energy = over * LIQUID_J_PER_KG_K * temperature_degC[i]
            books[B_DRAIN] += over
            books[B_DRAIN_J] += energy
            books[B_ABS] += over
            books[B_ABS_J] += abs(energy)
