"""Exchange between neighbouring cells, and with the outdoors and the hall: jets, stability, overturning, leaks, doors.

Two cells of equal mass that exchange x kg/s approach each other as 1 - exp(-2 x dt / M): the exact solution, moved
as one number from one to the other, so it is stable for any dt and loses nothing.
"""

from __future__ import annotations

from math import exp, sqrt

from numba import njit

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
    Floats,
)
from plantsim.kernel.moistair import enthalpy

GRAVITY = 9.81
HUMID_AIR_KG_PER_M3 = 1.14
OVERTURNING = 0.055  # Epstein 1988, exchange through a horizontal opening; from memory


@njit(cache=True, error_model="numpy")
def mix(k: Floats, share: Floats, air: Floats, gear: Floats, levels: int, dt: float) -> None:
    """Exchange between cells: up and down inside each bay, then between neighbouring bays."""
    bays = share.size
    flow = max(gear[G_FLOW], gear[G_VENT])
    for b in range(bays):
        _mix_bay(k, air, b * levels, levels, flow * share[b], bays, dt)
    side = k[K_SIDE] + k[K_SIDE_JET] * flow / bays
    part = 0.5 * (1.0 - exp(-2.0 * side * dt / k[K_AIR_KG]))
    # Even pairs, then odd ones: the order reads the same from both ends, so mirrored bays stay alike to the bit.
    for first in range(2):
        for b in range(first, bays - 1, 2):
            for i in range(b * levels, (b + 1) * levels):
                swap(air, i, i + levels, part)


@njit(cache=True, error_model="numpy")
def swap(air: Floats, i: int, j: int, part: float) -> None:
    """Move a part of the difference from cell i to cell j; 0.5 makes them alike."""
    h = part * (air[AIR_H, i] - air[AIR_H, j])
    air[AIR_H, i] -= h
    air[AIR_H, j] += h
    w = part * (air[AIR_WATER, i] - air[AIR_WATER, j])
    air[AIR_WATER, i] -= w
    air[AIR_WATER, j] += w


@njit(cache=True, error_model="numpy")
def _mix_bay(k: Floats, air: Floats, bottom: int, levels: int, flow: float, bays: int, dt: float) -> None:
    jet = k[K_STILL] + k[K_JET] * flow
    speed = k[K_SPEED0] + k[K_SPEED] * bays * flow
    dz = k[K_HEIGHT] / levels
    lower = air[AIR_T, bottom] + 273.15
    lower *= 1.0 + 0.608 * air[AIR_W, bottom]
    for i in range(bottom, bottom + levels - 1):
        upper = (air[AIR_T, i + 1] + 273.15) * (1.0 + 0.608 * air[AIR_W, i + 1])
        lighter = upper - lower
        if lighter >= 0.0:
            x = jet / (1.0 + GRAVITY / lower * lighter * dz / (speed * speed))
        else:
            x = jet + OVERTURNING * HUMID_AIR_KG_PER_M3 * sqrt(GRAVITY / lower * -lighter * k[K_OPENING] ** 5)
        swap(air, i, i + 1, 0.5 * (1.0 - exp(-2.0 * x * dt / k[K_AIR_KG])))
        lower = upper


@njit(cache=True, error_model="numpy")
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


@njit(cache=True, error_model="numpy")
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
