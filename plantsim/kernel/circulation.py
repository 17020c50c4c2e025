"""The fan loop: return, exhaust, make-up, coil, spray, plenum, through the chamber; and the plume without fan.

The usual way, from the top of every column to its bottom, stands here; outlets elsewhere, up and across in through.py.

Flux form: what leaves a cell enters the next one as the same number. Air that passes is dry air with its enthalpy
and its water, fog included, so make-up air that meets warm moist air in the plenum makes fog by itself.
"""

from __future__ import annotations

from math import ceil

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    AIR_H,
    AIR_T,
    AIR_W,
    AIR_WATER,
    B_ABS,
    B_ABS_J,
    B_COIL,
    B_DRAIN,
    B_DRAIN_J,
    B_EXHAUST,
    B_EXHAUST_DRAIN,
    B_EXHAUST_J,
    B_FAN,
    B_FOG,
    B_FOG_J,
    B_INPUT_J,
    B_MAKEUP,
    B_MAKEUP_J,
    B_RECOVERED_J,
    D_OUT_T,
    D_OUT_W,
    G_CARRIED_W,
    G_COIL_W,
    G_EVAPORATED,
    G_FAN_W,
    G_FLOW,
    G_FOG_KG,
    G_INPUT_W,
    G_RECOVERED_W,
    G_RETURN_T,
    G_STEAM_J,
    G_STEAM_KG,
    G_SUPPLY_T,
    G_SUPPLY_W,
    G_VENT,
    G_VENT_LOSS_W,
    K_AIR_KG,
    K_FOG_T,
    K_HEIGHT,
    K_PASS_MAX,
    K_PLUME_BELOW,
    K_PLUMES,
    K_PRESSURE,
    K_RECOVERY,
    K_THROUGH,
    Floats,
    Kinds,
)
from plantsim.kernel.moistair import LIQUID_J_PER_KG_K, enthalpy, flash_near
from plantsim.kernel.steam import book_steam
from plantsim.kernel.through import pass_through, returned
from plantsim.kernel.vents import recover

PLUME = 0.071  # kg/s per kW**(1/3) m**(5/3): Zukoski's plume, after Morton, Taylor and Turner; from memory


@inner
def circulate(
    k: Floats,
    cell: Floats,
    share: Floats,
    air: Floats,
    work: Floats,
    gear: Floats,
    books: Floats,
    drive: Floats,
    levels: int,
    dt: float,
    kinds: Kinds,
) -> None:
    """Carry air once round for dt; heat of coil and fan and the evaporated spray enter at the plenum."""
    coil = gear[G_COIL_W] * dt
    flow = max(gear[G_FLOW], gear[G_VENT])
    rising = max(0.0, 1.0 - flow / k[K_PLUME_BELOW]) * coil
    books[B_INPUT_J] += gear[G_INPUT_W] * dt
    if kinds is not None and gear[G_STEAM_KG] > 0.0:
        book_steam(gear, books)
    # Where more than half of a cell's air would go on at once, in several turns.
    turns = 1
    carried = 2.0 * flow * dt * k[K_PASS_MAX]
    if carried > k[K_AIR_KG]:
        turns = ceil(carried / k[K_AIR_KG])
    for _ in range(turns):
        _turn(k, cell, share, air, work, gear, books, drive, levels, flow, rising / turns, dt / turns, turns, kinds)
    if rising > 0.0:
        _rise(k, air, gear, share.size, levels, rising / dt, dt)


@inner
def _turn(
    k: Floats,
    cell: Floats,
    share: Floats,
    air: Floats,
    work: Floats,
    gear: Floats,
    books: Floats,
    drive: Floats,
    levels: int,
    flow: float,
    rising: float,
    dt: float,
    turns: int,
    kinds: Kinds,
) -> None:
    columns, M, vent = share.size, k[K_AIR_KG], gear[G_VENT]
    h_return, w_return, t_return = mixed_return(share, air, levels, M)
    if kinds is not None and k[K_THROUGH] > 0.5:
        h_return, w_return, t_return = returned(cell, air, M)
    gear[G_RETURN_T] = t_return
    h_out = enthalpy(drive[D_OUT_T], drive[D_OUT_W])
    h_makeup, h_exhaust, w_exhaust = h_out, h_return, w_return
    if kinds is not None and k[K_RECOVERY] > 0.0 and vent > 0.0:
        heat, drained, t_drained = recover(k, drive, h_return, w_return, t_return)
        h_makeup = h_out + heat
        h_exhaust = h_return - heat - drained * LIQUID_J_PER_KG_K * t_drained
        w_exhaust = w_return - drained
        _book_recovery(gear, books, vent, heat, drained, t_drained, dt)
    coil, fan = gear[G_COIL_W] * dt, gear[G_FAN_W] * dt
    spray = gear[G_FOG_KG] * gear[G_EVAPORATED] / turns
    heat = coil - rising + fan
    spray_J = spray * LIQUID_J_PER_KG_K * k[K_FOG_T]
    _book(books, coil, fan, spray, spray_J, vent * dt * h_out, vent * dt * h_exhaust)
    books[B_MAKEUP] += vent * dt * drive[D_OUT_W]
    books[B_EXHAUST] += vent * dt * w_exhaust
    books[B_ABS] += spray + vent * dt * (drive[D_OUT_W] + w_exhaust)
    if kinds is not None and gear[G_STEAM_KG] > 0.0:
        spray += gear[G_STEAM_KG] / turns
        spray_J += gear[G_STEAM_J] / turns
    gear[G_VENT_LOSS_W] = vent * (h_return - h_makeup)
    gear[G_CARRIED_W] = 0.0
    if flow > 0.0:
        kg = flow * dt
        taken = min(1.0, flow / k[K_PLUME_BELOW])  # of the spray: little air leaves the rest behind
        h_in = h_return + (vent * dt * (h_makeup - h_return) + heat + spray_J * taken) / kg
        w_in = w_return + (vent * dt * (drive[D_OUT_W] - w_return) + spray * taken) / kg
        gear[G_SUPPLY_T], gear[G_SUPPLY_W], _ = flash_near(h_in, w_in, k[K_PRESSURE], gear[G_SUPPLY_T])
        gear[G_CARRIED_W] = flow * (h_in - h_return)
        if kinds is not None and k[K_THROUGH] > 0.5:
            pass_through(cell, air, work, kg, h_in, w_in, M)
        else:
            for b in range(columns):
                _down(air, b * levels, levels, kg * share[b], h_in, w_in, M)
        if taken < 1.0:
            _leave(air, columns, levels, spray_J * (1.0 - taken), spray * (1.0 - taken))
    else:
        _leave(air, columns, levels, heat + spray_J, spray)
        gear[G_SUPPLY_T], gear[G_SUPPLY_W] = air[AIR_T, levels - 1], air[AIR_W, levels - 1]


@inner
def _leave(air: Floats, columns: int, levels: int, heat_J: float, water_kg: float) -> None:
    """Give the highest cells what no air carries away."""
    for b in range(columns):
        top = b * levels + levels - 1
        air[AIR_H, top] += heat_J / columns
        air[AIR_WATER, top] += water_kg / columns


@inner
def _book_recovery(
    gear: Floats, books: Floats, vent: float, heat: float, drained: float, t_drained: float, dt: float
) -> None:
    kg = vent * dt * drained
    energy = kg * LIQUID_J_PER_KG_K * t_drained
    gear[G_RECOVERED_W] = vent * heat
    books[B_RECOVERED_J] += vent * dt * heat
    books[B_EXHAUST_DRAIN] += kg
    books[B_DRAIN] += kg
    books[B_DRAIN_J] += energy
    books[B_ABS] += kg
    books[B_ABS_J] += abs(energy)


@inner
def _book(
    books: Floats, coil: float, fan: float, spray: float, spray_J: float, makeup_J: float, exhaust_J: float
) -> None:
    books[B_COIL] += coil
    books[B_FAN] += fan
    books[B_FOG_J] += spray_J
    books[B_FOG] += spray
    books[B_MAKEUP_J] += makeup_J
    books[B_EXHAUST_J] += exhaust_J
    books[B_ABS_J] += coil + fan + abs(spray_J) + abs(makeup_J) + abs(exhaust_J)


@inner
def mixed_return(share: Floats, air: Floats, levels: int, M: float) -> tuple[float, float, float]:
    """(enthalpy J/kg, water kg/kg, temperature degC) of the air that comes back from the bottoms of all columns."""
    h, w, t = 0.0, 0.0, 0.0
    for b in range(share.size):
        i = b * levels
        h += share[b] * air[AIR_H, i]
        w += share[b] * air[AIR_WATER, i]
        t += share[b] * air[AIR_T, i]
    return h / M, w / M, t


@inner
def _down(air: Floats, bottom: int, levels: int, kg: float, h_in: float, w_in: float, M: float) -> None:
    """Move kg of dry air down one column. From the bottom up, so that every donor still has its old state."""
    out_h = kg * (air[AIR_H, bottom] / M)
    out_w = kg * (air[AIR_WATER, bottom] / M)
    for i in range(bottom, bottom + levels):
        if i == bottom + levels - 1:
            in_h, in_w = kg * h_in, kg * w_in
        else:
            in_h, in_w = kg * (air[AIR_H, i + 1] / M), kg * (air[AIR_WATER, i + 1] / M)
        air[AIR_H, i] += in_h - out_h
        air[AIR_WATER, i] += in_w - out_w
        out_h, out_w = in_h, in_w


@inner
def _rise(k: Floats, air: Floats, gear: Floats, columns: int, levels: int, heat_W: float, dt: float) -> None:
    """A warm column from the floor: takes air from every level as it grows, gives it to the top; the rest sinks."""
    M = k[K_AIR_KG]
    height = k[K_HEIGHT]
    most = 0.5 * M / dt  # never more than half a cell in one step
    top_flow = PLUME * (heat_W * 1e-3 / k[K_PLUMES]) ** (1.0 / 3.0) * height ** (5.0 / 3.0) * k[K_PLUMES]
    column_flow = min(top_flow / columns, most)
    h_all, w_all = 0.0, 0.0
    for b in range(columns):
        bottom = b * levels
        top = bottom + levels - 1
        h_plume, w_plume, sunk, taken = heat_W * dt / columns, 0.0, 0.0, 0.0
        for level in range(levels - 1):
            i = bottom + level
            grown = ((level + 1.0) / (levels - 1.0)) ** (5.0 / 3.0)
            take = (grown - taken) * column_flow * dt
            taken = grown
            out = take + sunk  # what the column takes here and what sinks on to the level below
            h, w = air[AIR_H, i] / M, air[AIR_WATER, i] / M
            h_plume += take * h
            w_plume += take * w
            sunk += take
            # Level i + 1 is the donor and is changed only after this.
            air[AIR_H, i] += sunk * (air[AIR_H, i + 1] / M) - out * h
            air[AIR_WATER, i] += sunk * (air[AIR_WATER, i + 1] / M) - out * w
        air[AIR_H, top] += h_plume - sunk * (air[AIR_H, top] / M)
        air[AIR_WATER, top] += w_plume - sunk * (air[AIR_WATER, top] / M)
        h_all += h_plume
        w_all += w_plume
    kg = column_flow * dt * columns
    gear[G_SUPPLY_T], gear[G_SUPPLY_W], _ = flash_near(h_all / kg, w_all / kg, k[K_PRESSURE], gear[G_SUPPLY_T])
