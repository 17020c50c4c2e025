"""The truth row of a step, column by column as in plantsim.truth.COLUMNS."""

from __future__ import annotations

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    AIR_FOG,
    AIR_RH,
    AIR_T,
    AIR_W,
    B_DRIED,
    B_LANDED,
    B_ON_BOARDS,
    B_ON_ENVELOPE,
    B_ON_PRODUCT,
    C_BOARD_M2,
    C_NEWCOMER,
    C_OPENED,
    C_PRODUCT_M2,
    G_CARRIED_W,
    G_DRYING,
    G_EVAPORATED,
    G_FLOW,
    G_FOG_KG_H,
    G_FRAME_W,
    G_NEAREST,
    G_NEAREST_WALL,
    G_RETURN_T,
    G_SUPPLY_T,
    G_VENT,
    G_VENT_LOSS_W,
    G_WETTING,
    K_DEPTH,
    K_NEWCOMERS,
    K_OPENED,
    K_PRESSURE,
    K_PRODUCT_AREA,
    K_TONNES,
    L_M2,
    P_CORE,
    P_FILM,
    P_HEAT,
    P_SKIN,
    S_FILM,
    S_T,
    Floats,
    G_FAN_kW,
    G_HEAT_kW,
    Kinds,
    P_AGE40_h,
    Tables,
    Views,
    Whole,
)
from plantsim.kernel.moistair import dew_point

FAR = 1e9


@inner
def observe(c: Tables, v: Views, at_cell: Whole, dt: float, kinds: Kinds) -> None:
    """Fill the truth row from the state after a step."""
    row, gear, books = v.truth, v.gear, v.books
    _air(c.k, v.air, row)
    _surfaces(c, v, at_cell, row)
    _product(c, v.product, row)
    row[14], row[15], row[16] = books[B_ON_PRODUCT], books[B_ON_BOARDS], books[B_ON_ENVELOPE]
    row[17] = books[B_LANDED]
    per_m2h = 3600.0 / dt / c.k[K_PRODUCT_AREA] if c.k[K_PRODUCT_AREA] > 0.0 else 0.0
    row[18], row[19] = gear[G_DRYING] * per_m2h, gear[G_WETTING] * per_m2h
    row[29], row[30], row[31] = gear[G_HEAT_kW], gear[G_FAN_kW], gear[G_FOG_KG_H]
    row[32], row[33] = gear[G_VENT], gear[G_VENT_LOSS_W] * 1e-3
    row[34], row[35] = gear[G_CARRIED_W] * 1e-3, gear[G_FLOW]
    row[37] = gear[G_FRAME_W] * (v.wall.shape[1] - v.air.shape[1]) * 1e-3
    row[38], row[39] = gear[G_SUPPLY_T], gear[G_RETURN_T]
    row[41], row[42] = gear[G_EVAPORATED], books[B_DRIED]
    _settled(c, v, row)
    row[47] = 0.0
    if kinds is not None:
        row[47] = _front_to_back(v.air[AIR_T], int(c.k[K_DEPTH]), v.floor.shape[1])


@inner
def _air(k: Floats, air: Floats, row: Floats) -> None:
    n = air.shape[1]
    T, rh, W = 0.0, 0.0, 0.0
    for i in range(n):
        T += air[AIR_T, i]
        rh += air[AIR_RH, i]
        W += air[AIR_W, i]
    T_lo, T_hi = bounds(air[AIR_T])
    rh_lo, rh_hi = bounds(air[AIR_RH])
    row[0], row[1], row[2] = T / n, T_lo, T_hi
    row[3], row[4], row[5] = 100.0 * rh / n, 100.0 * rh_lo, 100.0 * rh_hi
    row[6] = dew_point(W / n, k[K_PRESSURE])
    row[40] = bounds(air[AIR_FOG])[1] * 1e3


@inner
def _front_to_back(T: Floats, depth: int, columns: int) -> float:
    """Largest difference along the depth at one bay and level, K; 0 where the model has one cell there."""
    if depth == 1:
        return 0.0
    levels = T.size // columns
    most = 0.0
    for i in range(0, T.size, depth * levels):
        for j in range(i, i + levels):
            lo, hi = T[j], T[j]
            for d in range(1, depth):
                lo, hi = min(lo, T[j + d * levels]), max(hi, T[j + d * levels])
            most = max(most, hi - lo)
    return most


@inner
def bounds(x: Floats) -> tuple[float, float]:
    """Smallest and largest entry."""
    lo, hi = x[0], x[0]
    for i in range(1, x.size):
        if x[i] < lo:
            lo = x[i]
        if x[i] > hi:
            hi = x[i]
    return lo, hi


@inner
def thickest(film: Floats, area: Floats) -> float:
    """Largest film per area; what has no area has no film."""
    most = 0.0
    for i in range(film.size):
        if film[i] > most * area[i]:
            most = film[i] / area[i]
    return most


@inner
def _surfaces(c: Tables, v: Views, at_cell: Whole, row: Floats) -> None:
    """Coldest and wettest surfaces, and the smallest dew margin.

    Which board and which skin are nearest to condensing was seen when the step began; frames are all looked at.
    """
    air, board, wall = v.air, v.board, v.wall
    n = air.shape[1]
    row[7], row[11] = bounds(board[S_T])[0], thickest(board[S_FILM], c.cell[C_BOARD_M2])
    row[8], row[12] = bounds(wall[S_T])[0], thickest(wall[S_FILM], c.wall[L_M2])
    P = c.k[K_PRESSURE]
    where = int(v.gear[G_NEAREST])
    margin = board[S_T, where] - dew_point(air[AIR_W, where], P)
    skin = int(v.gear[G_NEAREST_WALL])
    for j in range(n - 1, wall.shape[1]):
        s = j if j >= n else skin
        other = wall[S_T, s] - dew_point(air[AIR_W, at_cell[s]], P)
        if other < margin and c.wall[L_M2, s] > 0.0:
            margin, where = other, n + s
    row[9], row[10] = margin, where


@inner
def _settled(c: Tables, v: Views, row: Floats) -> None:
    """The same without what is not judged: boards of newcomers, air behind a door that was just open."""
    row[43], row[44], row[45], row[46] = c.k[K_TONNES], row[11], row[1], row[2]
    if c.k[K_NEWCOMERS] > 0.0:
        film, area, left_out = v.board[S_FILM], c.cell[C_BOARD_M2], c.cell[C_NEWCOMER]
        most = 0.0
        for i in range(film.size):
            if left_out[i] == 0.0 and film[i] > most * area[i]:
                most = film[i] / area[i]
        row[44] = most
    if c.k[K_OPENED] > 0.0:
        T, left_out = v.air[AIR_T], c.cell[C_OPENED]
        lo, hi = FAR, -FAR
        for i in range(T.size):
            if left_out[i] == 0.0:
                lo, hi = min(lo, T[i]), max(hi, T[i])
        row[45], row[46] = (lo, hi) if hi >= lo else (row[0], row[0])


@inner
def _product(c: Tables, product: Floats, row: Floats) -> None:
    """Over the positions that hold product. Without any, all are 0."""
    count, core, age, heat, film = 0, 0.0, 0.0, 0.0, 0.0
    core_lo, core_hi, skin_lo, skin_hi, age_lo, age_hi = FAR, -FAR, FAR, -FAR, FAR, -FAR
    for i in range(product.shape[1]):
        area = c.cell[C_PRODUCT_M2, i]
        if area == 0.0:
            continue
        count += 1
        core += product[P_CORE, i]
        age += product[P_AGE40_h, i]
        heat += product[P_HEAT, i]
        film = max(film, product[P_FILM, i] / area)
        core_lo = min(core_lo, product[P_CORE, i])
        core_hi = max(core_hi, product[P_CORE, i])
        skin_lo = min(skin_lo, product[P_SKIN, i])
        skin_hi = max(skin_hi, product[P_SKIN, i])
        age_lo = min(age_lo, product[P_AGE40_h, i])
        age_hi = max(age_hi, product[P_AGE40_h, i])
    if count == 0:  # what stood here may have been taken away
        core_lo, core_hi, skin_lo, skin_hi, age_lo, age_hi, count = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1
    row[13] = film
    row[20], row[21], row[22] = core_lo, core / count, core_hi
    row[23], row[24], row[25] = skin_lo, skin_hi, core_hi - core_lo
    row[26], row[27], row[28] = age_lo, age / count, age_hi
    row[36] = heat * 1e-3
