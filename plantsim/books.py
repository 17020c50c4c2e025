"""Energy and water books of the chamber model, and their closure.

What is stored is recomputed here from temperatures, moisture and films by definition, in code that shares nothing
with the fluxes of the kernel: not its enthalpy function, not its constants, not its running enthalpies. Closure is
(stored now - stored at the start - booked in and out) over the throughput, the sum of all amounts that crossed the
boundary, in whichever direction.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import fsum

from plantsim.kernel import layout as at
from plantsim.kernel.layout import Tables, Views

JOULE_PER_KWH = 3.6e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Books:
    """Accounts since the start. Energies in kWh, water in kg; what leaves is negative. Closures are relative.

    heat_kWh: given to the air by coil, elements or exchanger. steam_*: what came as steam, of heater and humidifier.
    bought_kWh: heat, electricity, fuel or steam that heater and humidifier took in; no part of the closure.
    """

    heat_kWh: float
    steam_kWh: float
    bought_kWh: float
    fan_kWh: float
    frame_heat_kWh: float
    hydration_kWh: float
    fog_water_kWh: float
    makeup_kWh: float
    exhaust_kWh: float
    leak_kWh: float
    doors_kWh: float
    envelope_kWh: float
    floor_kWh: float
    drain_kWh: float
    charges_in_kWh: float
    charges_out_kWh: float
    recovered_kWh: float
    energy_throughput_kWh: float
    energy_stored_kWh: float
    energy_closure: float
    fog_kg: float
    steam_kg: float
    makeup_kg: float
    exhaust_kg: float
    leak_kg: float
    doors_kg: float
    drain_kg: float
    charges_in_kg: float
    charges_out_kg: float
    exhaust_drain_kg: float
    water_throughput_kg: float
    water_stored_kg: float
    water_closure: float
    condensed_product_kg: float
    condensed_board_kg: float
    condensed_envelope_kg: float
    deposited_kg: float
    dried_kg: float


def stored(c: Tables, v: Views) -> tuple[float, float]:
    """(energy in J above water and dry air at 0 degC, water in kg) that the chamber holds now, by definition."""
    M = float(c.k[at.K_AIR_KG])
    T, W, fog = v.air[at.AIR_T], v.air[at.AIR_W], v.air[at.AIR_FOG]
    # Dry air 1.006 kJ/kgK, vapour 2501 + 1.86 t kJ/kg, liquid 4.186 kJ/kgK: ASHRAE Fundamentals 2017, ch. 1.
    air = M * (1006.0 * T + W * (2501000.0 + 1860.0 * T) + fog * 4186.0 * T)
    skin = (c.cell[at.C_SKIN_J] + (v.product[at.P_FILM] + v.product[at.P_INNER]) * 4186.0) * v.product[at.P_SKIN]
    core = c.cell[at.C_CORE_J] * v.product[at.P_CORE]
    board = (c.cell[at.C_BOARD_J] + v.board[at.S_FILM] * 4186.0) * v.board[at.S_T]
    wall = (c.wall[at.L_J] + v.wall[at.S_FILM] * 4186.0) * v.wall[at.S_T]
    floor = c.k[at.K_FLOOR_J] * v.floor
    energy = fsum(x for part in (air, skin, core, board, wall, floor.ravel()) for x in part.tolist())
    water = M * (W + fog)
    films = (v.product[at.P_FILM], v.product[at.P_INNER], v.board[at.S_FILM], v.wall[at.S_FILM])
    return energy, fsum(x for part in (water, *films) for x in part.tolist())


def close(c: Tables, v: Views, energy_at_start_J: float, water_at_start_kg: float) -> Books:
    """The books now, with their closures."""
    b = [float(x) for x in v.books]
    energy, water = stored(c, v)
    into = fsum([
        b[at.B_COIL], b[at.B_FAN], b[at.B_FRAMES], b[at.B_HYDRATION], b[at.B_FOG_J], b[at.B_MAKEUP_J],
        -b[at.B_EXHAUST_J], b[at.B_LEAK_J], b[at.B_DOOR_J], b[at.B_WALL_J], b[at.B_FLOOR_J], -b[at.B_DRAIN_J],
        b[at.B_CHARGE_IN_J], -b[at.B_CHARGE_OUT_J], b[at.B_STEAM_J],
    ])  # fmt: skip
    water_in = fsum([
        b[at.B_FOG], b[at.B_STEAM], b[at.B_MAKEUP], -b[at.B_EXHAUST], b[at.B_LEAK], b[at.B_DOOR], -b[at.B_DRAIN],
        b[at.B_CHARGE_IN], -b[at.B_CHARGE_OUT],
    ])  # fmt: skip
    kWh = [x / JOULE_PER_KWH for x in b]
    return Books(
        heat_kWh=kWh[at.B_COIL],
        steam_kWh=kWh[at.B_STEAM_J],
        bought_kWh=kWh[at.B_INPUT_J],
        fan_kWh=kWh[at.B_FAN],
        frame_heat_kWh=kWh[at.B_FRAMES],
        hydration_kWh=kWh[at.B_HYDRATION],
        fog_water_kWh=kWh[at.B_FOG_J],
        makeup_kWh=kWh[at.B_MAKEUP_J],
        exhaust_kWh=-kWh[at.B_EXHAUST_J],
        leak_kWh=kWh[at.B_LEAK_J],
        doors_kWh=kWh[at.B_DOOR_J],
        envelope_kWh=kWh[at.B_WALL_J],
        floor_kWh=kWh[at.B_FLOOR_J],
        drain_kWh=-kWh[at.B_DRAIN_J],
        charges_in_kWh=kWh[at.B_CHARGE_IN_J],
        charges_out_kWh=-kWh[at.B_CHARGE_OUT_J],
        recovered_kWh=kWh[at.B_RECOVERED_J],
        energy_throughput_kWh=kWh[at.B_ABS_J],
        energy_stored_kWh=energy / JOULE_PER_KWH,
        energy_closure=_relative(energy - energy_at_start_J - into, b[at.B_ABS_J]),
        fog_kg=b[at.B_FOG],
        steam_kg=b[at.B_STEAM],
        makeup_kg=b[at.B_MAKEUP],
        exhaust_kg=-b[at.B_EXHAUST],
        leak_kg=b[at.B_LEAK],
        doors_kg=b[at.B_DOOR],
        drain_kg=-b[at.B_DRAIN],
        charges_in_kg=b[at.B_CHARGE_IN],
        charges_out_kg=-b[at.B_CHARGE_OUT],
        exhaust_drain_kg=-b[at.B_EXHAUST_DRAIN],
        water_throughput_kg=b[at.B_ABS],
        water_stored_kg=water,
        water_closure=_relative(water - water_at_start_kg - water_in, b[at.B_ABS]),
        condensed_product_kg=b[at.B_ON_PRODUCT],
        condensed_board_kg=b[at.B_ON_BOARDS],
        condensed_envelope_kg=b[at.B_ON_ENVELOPE],
        deposited_kg=b[at.B_LANDED],
        dried_kg=b[at.B_DRIED],
    )


def _relative(rest: float, throughput: float) -> float:
    return rest / throughput if throughput > 0.0 else rest
