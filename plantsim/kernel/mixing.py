"""Exchange between neighbouring cells, and with the outdoors and the hall: jets, stability, overturning, leaks, doors.

Two cells of equal mass that exchange x kg/s approach each other as 1 - exp(-2 x dt / M): the exact solution, moved
as one number from one to the other, so it is stable for any dt and loses nothing.
"""

from __future__ import annotations

from math import exp, sqrt

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    AIR_H,
    AIR_T,
    AIR_W,
    AIR_WATER,
    B_ABS,
    B_ABS_J,
    B_DOOR,
    B_DOOR_J,
    B_LEAK,
    B_LEAK_J,
    C_LEAK,
    D_HALL_T,
    D_HALL_W,
    D_OUT_T,
    D_OUT_W,
    DRIVE,
    G_FLOW,
    G_VENT,
    K_AIR_KG,
    K_DEPTH,
    K_DEPTH_JET,
    K_DEPTH_STILL,
    K_DOOR,
    K_DOOR_HEIGHT,
    K_HEIGHT,
    K_JET,
    K_OPENING,
    K_SIDE,
    K_SIDE_JET,
    K_SPEED,
    K_SPEED0,
    K_STILL,
    X_A,
    X_B,
    Floats,
    Kinds,
)
from plantsim.kernel.moistair import enthalpy
from plantsim.kernel.rows import added

GRAVITY = 9.81
HUMID_AIR_KG_PER_M3 = 1.14
OVERTURNING = 0.055  # Epstein 1988, exchange through a horizontal opening; from memory


@inner
def mix(
    k: Floats, share: Floats, air: Floats, work: Floats, gear: Floats, levels: int, dt: float, kinds: Kinds
) -> None:
    """Exchange between cells: up and down inside each column, between neighbouring bays, then along their depth."""
    columns, depth = share.size, int(k[K_DEPTH])
    flow = max(gear[G_FLOW], gear[G_VENT])
    part_up = work[X_B]
    _parts_up(k, share, air, work[X_A], part_up, flow, levels, dt)
    # Even pairs, then odd ones: a sweep from one end would carry heat along with itself.
    for first in range(2):
        for c in range(columns):
            for i in range(c * levels + first, (c + 1) * levels - 1, 2):
                swap(air, i, i + 1, part_up[i])
    side = k[K_SIDE] + k[K_SIDE_JET] * flow / columns
    part = 0.5 * (1.0 - exp(-2.0 * side * dt / k[K_AIR_KG]))
    # Even pairs, then odd ones: the order reads the same from both ends, so mirrored bays stay alike to the bit.
    bay = depth * levels
    for first in range(2):
        for b in range(first, columns // depth - 1, 2):
            for i in range(b * bay, (b + 1) * bay):
                swap(air, i, i + bay, part)
    if kinds is not None and depth > 1:
        along = k[K_DEPTH_STILL] + k[K_DEPTH_JET] * flow * depth / columns
        _mix_depth(air, levels, depth, along * dt / k[K_AIR_KG])


@inner
def _mix_depth(air: Floats, levels: int, depth: int, x: float) -> None:
    """Front and back of every bay; x: exchange of each pair over a cell's air. Exact for two cells and for three.

    Three in a row: the difference of the ends fades as exp(-x), the middle's from their mean as exp(-3 x). Written so
    that front and back are treated alike to the bit.
    """
    bay = depth * levels
    if depth == 2:
        part = 0.5 * (1.0 - exp(-2.0 * x))
        for i in range(0, air.shape[1], bay):
            for j in range(i, i + levels):
                swap(air, j, j + levels, part)
        return
    ends, middle = 0.5 * (1.0 - exp(-x)), (1.0 - exp(-3.0 * x)) / 3.0
    for i in range(0, air.shape[1], bay):
        for a in range(i, i + levels):
            b, c = a + levels, a + 2 * levels
            for row in (AIR_H, AIR_WATER):
                tilt = ends * (air[row, a] - air[row, c])
                bulge = middle * (0.5 * (air[row, a] + air[row, c]) - air[row, b])
                to_b, to_c = tilt + bulge, tilt - bulge
                air[row, a] -= to_b
                air[row, b] += to_b - to_c
                air[row, c] += to_c


@inner
def swap(air: Floats, i: int, j: int, part: float) -> None:
    """Move a part of the difference from cell i to cell j; 0.5 makes them alike."""
    h = part * (air[AIR_H, i] - air[AIR_H, j])
    air[AIR_H, i] -= h
    air[AIR_H, j] += h
    w = part * (air[AIR_WATER, i] - air[AIR_WATER, j])
    air[AIR_WATER, i] -= w
    air[AIR_WATER, j] += w


@inner
def _parts_up(
    k: Floats, share: Floats, air: Floats, virtual: Floats, part: Floats, flow: float, levels: int, dt: float
) -> None:
    """For each cell the part of its difference to the cell above that is moved in dt.

    Jets mix; a stable layer damps them as 1 / (1 + Ri); an unstable one overturns by itself. Density by virtual
    temperature: moist air is lighter.
    """
    n = air.shape[1]
    for i in range(n):
        virtual[i] = (air[AIR_T, i] + 273.15) * (1.0 + 0.608 * air[AIR_W, i])
    columns = share.size
    dz = k[K_HEIGHT] / levels
    # Exchange of a bay is shared by the columns of its depth.
    overturning = OVERTURNING * HUMID_AIR_KG_PER_M3 * sqrt(GRAVITY * k[K_OPENING] ** 5) / k[K_DEPTH]
    for c in range(columns):
        column_flow = flow * share[c]
        jet = k[K_STILL] + k[K_JET] * column_flow
        speed = k[K_SPEED0] + k[K_SPEED] * columns * column_flow
        richardson = GRAVITY * dz / (speed * speed)
        for i in range(c * levels, (c + 1) * levels - 1):
            lighter = (virtual[i + 1] - virtual[i]) / virtual[i]
            # One of the two terms is 0: what is stable does not overturn.
            stable, unstable = max(lighter, 0.0), max(-lighter, 0.0)
            x = jet / (1.0 + richardson * stable) + overturning * sqrt(unstable)
            part[i] = 0.5 * (1.0 - exp(-2.0 * x * dt / k[K_AIR_KG]))


@inner
def leak(k: Floats, cell: Floats, air: Floats, work: Floats, books: Floats, drive: Floats, dt: float) -> None:
    """Air through cracks, in as much as out, in every cell on the envelope."""
    h_out, w_out = enthalpy(drive[D_OUT_T], drive[D_OUT_W]), drive[D_OUT_W]
    per_kg = 1.0 / k[K_AIR_KG]
    n = air.shape[1]
    H, water, leaks, h, w = air[AIR_H], air[AIR_WATER], cell[C_LEAK], work[X_A, :n], work[X_B, :n]
    for i in range(n):
        kg = leaks[i] * dt
        h[i] = kg * (h_out - H[i] * per_kg)
        w[i] = kg * (w_out - water[i] * per_kg)
        H[i] += h[i]
        water[i] += w[i]
    energy, kg = added(h), added(w)
    books[B_LEAK_J] += energy
    books[B_LEAK] += kg
    books[B_ABS_J] += abs(energy)
    books[B_ABS] += abs(kg)


@inner
def open_doors(k: Floats, air: Floats, books: Floats, drive: Floats, levels: int, dt: float) -> None:
    """Exchange of the front column with the hall through every open door: two-way flow by density.

    After Brown and Solvason (1962): volume flow = C/3 * width * height * sqrt(g * height * difference / T);
    K_DOOR = C/3 * width * height.
    """
    M = k[K_AIR_KG]
    h_hall = enthalpy(drive[D_HALL_T], drive[D_HALL_W])
    hall = (drive[D_HALL_T] + 273.15) * (1.0 + 0.608 * drive[D_HALL_W])
    bay = int(k[K_DEPTH]) * levels
    for b in range(drive.size - DRIVE):
        if drive[DRIVE + b] < 0.5:
            continue
        inside = 0.0
        for i in range(b * bay, b * bay + levels):
            inside += (air[AIR_T, i] + 273.15) * (1.0 + 0.608 * air[AIR_W, i]) / levels
        volume = k[K_DOOR] * sqrt(GRAVITY * k[K_DOOR_HEIGHT] * abs(inside - hall) / hall)
        part = 1.0 - exp(-HUMID_AIR_KG_PER_M3 * volume / levels * dt / M)
        for i in range(b * bay, b * bay + levels):
            h = part * (M * h_hall - air[AIR_H, i])
            w = part * (M * drive[D_HALL_W] - air[AIR_WATER, i])
            air[AIR_H, i] += h
            air[AIR_WATER, i] += w
            books[B_DOOR_J] += h
            books[B_DOOR] += w
            books[B_ABS_J] += abs(h)
            books[B_ABS] += abs(w)
