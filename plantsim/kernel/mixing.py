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
)
from plantsim.kernel.moistair import enthalpy

GRAVITY = 9.81
HUMID_AIR_KG_PER_M3 = 1.14
OVERTURNING = 0.055  # Epstein 1988, exchange through a horizontal opening; from memory


@inner
def mix(k: Floats, share: Floats, air: Floats, work: Floats, gear: Floats, levels: int, dt: float) -> None:
    """Exchange between cells: up and down inside each bay, then between neighbouring bays."""
    bays = share.size
    flow = max(gear[G_FLOW], gear[G_VENT])
    part_up = work[X_B]
    _parts_up(k, share, air, work[X_A], part_up, flow, levels, dt)
    # Even pairs, then odd ones: a sweep from one end would carry heat along with itself.
    for first in range(2):
        for b in range(bays):
            for i in range(b * levels + first, (b + 1) * levels - 1, 2):
                swap(air, i, i + 1, part_up[i])
    side = k[K_SIDE] + k[K_SIDE_JET] * flow / bays
    part = 0.5 * (1.0 - exp(-2.0 * side * dt / k[K_AIR_KG]))
    # Even pairs, then odd ones: the order reads the same from both ends, so mirrored bays stay alike to the bit.
    for first in range(2):
        for b in range(first, bays - 1, 2):
            for i in range(b * levels, (b + 1) * levels):
                swap(air, i, i + levels, part)


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
    bays = share.size
    dz = k[K_HEIGHT] / levels
    overturning = OVERTURNING * HUMID_AIR_KG_PER_M3 * sqrt(GRAVITY * k[K_OPENING] ** 5)
    for b in range(bays):
        bay_flow = flow * share[b]
        jet = k[K_STILL] + k[K_JET] * bay_flow
        speed = k[K_SPEED0] + k[K_SPEED] * bays * bay_flow
        richardson = GRAVITY * dz / (speed * speed)
        for i in range(b * levels, (b + 1) * levels - 1):
            lighter = (virtual[i + 1] - virtual[i]) / virtual[i]
            # One of the two terms is 0: what is stable does not overturn.
            stable, unstable = max(lighter, 0.0), max(-lighter, 0.0)
            x = jet / (1.0 + richardson * stable) + overturning * sqrt(unstable)
            part[i] = 0.5 * (1.0 - exp(-2.0 * x * dt / k[K_AIR_KG]))


@inner
def leak(k: Floats, cell: Floats, air: Floats, books: Floats, drive: Floats, dt: float) -> None:
    """Air through cracks, in as much as out, in every cell on the envelope."""
    h_out = enthalpy(drive[D_OUT_T], drive[D_OUT_W])
    M = k[K_AIR_KG]
    energy, water = 0.0, 0.0
    for i in range(air.shape[1]):
        kg = cell[C_LEAK, i] * dt
        h = kg * (h_out - air[AIR_H, i] / M)
        w = kg * (drive[D_OUT_W] - air[AIR_WATER, i] / M)
        air[AIR_H, i] += h
        air[AIR_WATER, i] += w
        energy += h
        water += w
    books[B_LEAK_J] += energy
    books[B_LEAK] += water
    books[B_ABS_J] += abs(energy)
    books[B_ABS] += abs(water)


@inner
def open_doors(k: Floats, air: Floats, books: Floats, drive: Floats, levels: int, dt: float) -> None:
    """Exchange with the hall through every open door: two-way flow by density, after Brown and Solvason (1962).

    Volume flow = C/3 * width * height * sqrt(g * height * difference / T); K_DOOR = C/3 * width * height.
    """
    M = k[K_AIR_KG]
    h_hall = enthalpy(drive[D_HALL_T], drive[D_HALL_W])
    hall = (drive[D_HALL_T] + 273.15) * (1.0 + 0.608 * drive[D_HALL_W])
    for b in range(drive.size - DRIVE):
        if drive[DRIVE + b] < 0.5:
            continue
        inside = 0.0
        for i in range(b * levels, (b + 1) * levels):
            inside += (air[AIR_T, i] + 273.15) * (1.0 + 0.608 * air[AIR_W, i]) / levels
        volume = k[K_DOOR] * sqrt(GRAVITY * k[K_DOOR_HEIGHT] * abs(inside - hall) / hall)
        part = 1.0 - exp(-HUMID_AIR_KG_PER_M3 * volume / levels * dt / M)
        for i in range(b * levels, (b + 1) * levels):
            h = part * (M * h_hall - air[AIR_H, i])
            w = part * (M * drive[D_HALL_W] - air[AIR_WATER, i])
            air[AIR_H, i] += h
            air[AIR_WATER, i] += w
            books[B_DOOR_J] += h
            books[B_DOOR] += w
            books[B_ABS_J] += abs(h)
            books[B_ABS] += abs(w)
