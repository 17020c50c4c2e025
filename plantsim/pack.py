"""From parameters to the packed constants and the first state of the kernel."""

from __future__ import annotations

from math import exp

import numpy as np

from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats, Tables, Views, Whole
from plantsim.kernel.moistair import psat
from plantsim.params import PlantParams, Probe

LIQUID_J_PER_KG_K = 4186.0
WATER_KG_PER_M3 = 998.0
AIR_PA_S = 1.87e-5
# Diffusion of vapour in air at 32 degC, and density of humid air. Source: from memory.
DIFFUSION_M2_PER_S = 2.62e-5
HUMID_AIR_KG_PER_M3 = 1.137
# Default range of the current loop of each kind of probe, until the point list sets it.
SPANS: dict[str, tuple[float, float]] = {
    "rh": (0, 100), "outdoor_rh": (0, 100), "product": (-10, 90), "supply": (-10, 90), "hall": (-20, 60),
    "outdoor_t": (-40, 60), "water": (0, 120), "fan_speed": (0, 100), "airflow": (0, 15), "valve": (0, 100),
    "damper": (0, 100), "heat_kW": (0, 120), "fan_kW": (0, 15), "fog_kg_per_h": (0, 100),
}  # fmt: skip


def pack(params: PlantParams, charge: Charge, dt_s: float) -> tuple[Floats, Whole, Floats]:
    """(const, whole, state) of a chamber that has just been filled."""
    bays, levels, probes = params.room.bays, params.room.levels, len(params.probe)
    const = np.zeros(at.const_size(bays, levels, probes))
    state = np.zeros(at.state_size(bays, levels, probes))
    c = at.const_views(const, bays, levels, probes)
    v = at.state_views(state, bays, levels, probes)
    c.share[:] = _shares(params)
    loaded = loaded_cells(params, charge)
    fill = charge.tonnes / params.product.nominal_t * loaded * (loaded.size / max(loaded.sum(), 1.0))
    _scalars(c.k, params, dt_s)
    _cells(c.cell, params, fill, loaded, dt_s)
    c.k[at.K_PRODUCT_AREA] = c.cell[at.C_PRODUCT_M2].sum()
    _walls(c.wall, params)
    _start(v, c, params, charge, fill)
    cells = np.arange(bays * levels)
    frames = np.arange(bays) * levels + levels // 2
    sources = [_source(params, probe, loaded) for probe in params.probe]
    _probes(c, params)
    whole = np.concatenate([[bays, levels, probes], cells, frames, sources]).astype(np.int64)
    return const, whole, state


def loaded_cells(params: PlantParams, charge: Charge) -> Floats:
    """1.0 for every cell with product, 0.0 for the others. ValueError for a bay that does not exist."""
    loaded = np.ones(params.room.bays * params.room.levels)
    for bay in charge.empty_bays:
        if not 1 <= bay <= params.room.bays:
            raise ValueError(f"empty bay {bay}: this chamber has bays 1..{params.room.bays}")
        loaded[(bay - 1) * params.room.levels : bay * params.room.levels] = 0.0
    return loaded if charge.tonnes > 0.0 else loaded * 0.0


def _shares(params: PlantParams) -> Floats:
    given = params.fan.bay_share
    if given and len(given) != params.room.bays:
        raise ValueError(f"fan.bay_share has {len(given)} entries for {params.room.bays} bays")
    share = np.array(given if given else [1.0] * params.room.bays)
    return np.asarray(share / share.sum())


def _scalars(k: Floats, p: PlantParams, dt: float) -> None:
    room, air, fog, product = p.room, p.air, p.fog, p.product
    n = room.bays * room.levels
    k[at.K_PRESSURE], k[at.K_AIR_KG], k[at.K_HEIGHT] = room.pressure_Pa, room.dry_air_kg / n, room.height_m
    k[at.K_STILL], k[at.K_JET] = air.still_exchange_kg_per_s, air.jet_exchange
    k[at.K_SIDE], k[at.K_SIDE_JET] = air.side_exchange_kg_per_s, air.side_jet_exchange
    k[at.K_OPENING], k[at.K_SPEED] = air.opening_m, air.speed_m_per_s_per_kg_per_s
    k[at.K_SPEED0] = air.speed_still_m_per_s
    k[at.K_FILM], k[at.K_FILM_V] = air.film_W_per_m2_K, air.film_W_per_m2_K_per_m_per_s
    k[at.K_PLUMES], k[at.K_PLUME_BELOW] = air.plumes, air.plume_below_kg_per_s
    k[at.K_FAN_FULL], k[at.K_FAN_RATED] = p.fan.full_kg_per_s, p.fan.rated_kg_per_s
    k[at.K_FAN_RATED_W], k[at.K_FAN_PROVEN] = p.fan.rated_kW * 1e3, p.fan.proven_kg_per_s
    k[at.K_FAN_GAIN] = _gain(p.fan.lag_s, dt)
    k[at.K_COIL_W], k[at.K_COIL_WATER], k[at.K_COIL_AIR] = p.coil.max_kW * 1e3, p.coil.water_degC, p.coil.air_degC
    k[at.K_COIL_UA], k[at.K_COIL_DRAUGHT] = p.coil.UA_kW_per_K * 1e3, p.coil.draught_kg_per_s
    k[at.K_COIL_R], k[at.K_COIL_N] = p.coil.rangeability, p.coil.authority
    k[at.K_COIL_STEP], k[at.K_COIL_GAIN] = 100.0 / p.coil.stroke_s * dt, _gain(p.coil.lag_s, dt)
    k[at.K_VENT], k[at.K_VENT_STEP] = p.vent.max_kg_per_s, 100.0 / p.vent.stroke_s * dt
    k[at.K_VENT_R], k[at.K_VENT_N] = p.vent.rangeability, p.vent.authority
    k[at.K_BANK_A], k[at.K_BANK_B], k[at.K_FOG_T] = fog.bank_a_kg_per_h, fog.bank_b_kg_per_h, fog.water_degC
    steps = round(fog.line_delay_s / dt)
    if steps >= at.LINE:
        raise ValueError(f"fog.line_delay_s {fog.line_delay_s} is {steps} steps of {dt} s; at most {at.LINE - 1}")
    k[at.K_LINE_STEPS] = steps
    spread = 12.0 * DIFFUSION_M2_PER_S * HUMID_AIR_KG_PER_M3 / WATER_KG_PER_M3
    k[at.K_DROP_EVAPORATES] = spread / (fog.droplet_um * 1e-6) ** 2
    k[at.K_DROP_FALLS] = _fall_m_per_s(fog.droplet_um) / fog.fall_m
    k[at.K_SETTLE] = _fall_m_per_s(fog.settle_droplet_um) / (room.height_m / room.levels)
    k[at.K_LIMIT], k[at.K_LIMIT_GAIN] = p.limiter.trip_degC, _gain(p.limiter.lag_s, dt)
    k[at.K_FRAME_W] = p.frames.heating_W
    k[at.K_DOOR] = p.hall.discharge / 3.0 * p.hall.door_width_m * p.hall.door_height_m
    k[at.K_DOOR_HEIGHT] = p.hall.door_height_m
    k[at.K_ACTIVITY], k[at.K_WETTED] = product.water_activity, product.wetted_fraction
    k[at.K_PRODUCT_HOLD], k[at.K_FILM_FULL] = product.film_hold_kg_per_m2, product.film_full_kg_per_m2
    k[at.K_ABSORB], k[at.K_SKIN_SHARE] = product.absorb_s, product.skin_share
    k[at.K_HYDRATION], k[at.K_TAU] = product.hydration_J_per_kg, product.tau_h
    k[at.K_SHAPE], k[at.K_ACTIVATION] = product.shape, product.activation_J_per_mol
    k[at.K_BOARD_HOLD], k[at.K_WALL_HOLD] = p.racks.film_hold_kg_per_m2, p.envelope.film_hold_kg_per_m2
    _floor(k, p)


def _floor(k: Floats, p: PlantParams) -> None:
    area = p.room.width_m * p.room.depth_m / p.room.bays
    k[at.K_FLOOR_AREA] = area
    k[at.K_FLOOR_J] = area * p.floor.layer_m * p.floor.heat_J_per_m3_K
    k[at.K_FLOOR_W_K] = area * p.floor.conductivity_W_per_m_K / p.floor.layer_m
    slab = (at.FLOOR_LAYERS - 1) * p.floor.layer_m / p.floor.conductivity_W_per_m_K
    rest = 1.0 / p.floor.U_W_per_m2_K - p.envelope.inside_m2_K_per_W - slab
    if rest <= 0.0:
        raise ValueError("floor.U_W_per_m2_K is more than the slab alone lets through")
    k[at.K_GROUND_W_K], k[at.K_GROUND_T] = area / rest, p.floor.ground_degC


def _cells(cell: Floats, p: PlantParams, fill: Floats, loaded: Floats, dt: float) -> None:
    n = fill.size
    product, racks, levels = p.product, p.racks, p.room.levels
    mass = fill * product.nominal_t * 1e3 / n
    C = mass * product.heat_J_per_kg_K
    skin = C * product.skin_share
    cell[at.C_PRODUCT_M2] = fill * product.m2_per_position
    cell[at.C_CORE_J] = np.where(loaded > 0.0, C - skin, 1.0)
    # The water within reach of the surface is part of the skin's heat capacity.
    cell[at.C_SKIN_J] = np.where(loaded > 0.0, skin - _inner_kg(p, mass) * LIQUID_J_PER_KG_K, 1.0)
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


def _inner_kg(p: PlantParams, mass: Floats) -> Floats:
    return np.asarray(mass * p.product.skin_share * p.product.water_kg_per_kg)


def _walls(wall: Floats, p: PlantParams) -> None:
    """Skins: front and back of every cell, the end walls, the roof over the highest level; then door frames."""
    room, env, frames = p.room, p.envelope, p.frames
    n = room.bays * room.levels
    high = room.height_m / room.levels
    area = np.full(n, 2.0 * room.width_m / room.bays * high)
    level, bay = np.arange(n) % room.levels, np.arange(n) // room.levels
    ends = (bay == 0).astype(float) + (bay == room.bays - 1)
    area += ends * room.depth_m * high
    area += (level == room.levels - 1) * (room.width_m * room.depth_m / room.bays)
    wall[at.L_M2, :n], wall[at.L_J, :n] = area, area * env.skin_J_per_m2_K
    wall[at.L_OUT_W_K, :n] = area / (1.0 / env.U_W_per_m2_K - env.inside_m2_K_per_W)
    wall[at.L_M2, n:], wall[at.L_J, n:] = frames.area_m2, frames.area_m2 * frames.skin_J_per_m2_K
    wall[at.L_OUT_W_K, n:] = frames.area_m2 / (1.0 / frames.U_W_per_m2_K - env.inside_m2_K_per_W)


def _start(v: Views, c: Tables, p: PlantParams, charge: Charge, fill: Floats) -> None:
    T = charge.mix_degC
    W = p.start.rh_pct / 100.0
    set_air(v, c, T, W)
    v.product[at.P_SKIN], v.product[at.P_CORE] = T, T
    v.product[at.P_INNER] = _inner_kg(p, fill * p.product.nominal_t * 1e3 / fill.size)
    v.product[at.P_AGE_h], v.product[at.P_AGE40_h] = charge.age_h, charge.age_h
    v.board[at.S_T], v.wall[at.S_T], v.floor[:] = T, T, T
    v.gear[at.G_WATER_T], v.gear[at.G_LIMITER_T] = p.coil.water_degC, T
    v.gear[at.G_SUPPLY_T], v.gear[at.G_RETURN_T], v.gear[at.G_HALL_T] = T, T, p.hall.degC
    v.gear[at.G_EVAPORATED] = 1.0
    v.lagged[:] = np.nan


def set_air(v: Views, c: Tables, temperature_degC: float, rh: float) -> None:
    """Fill every cell with air of one state; rh as a fraction."""
    P, M = c.k[at.K_PRESSURE], c.k[at.K_AIR_KG]
    pv = rh * psat(temperature_degC)
    W = 0.621945 * pv / (P - pv)
    v.air[at.AIR_T], v.air[at.AIR_W], v.air[at.AIR_FOG], v.air[at.AIR_RH] = temperature_degC, W, 0.0, rh
    v.air[at.AIR_WATER] = M * W
    v.air[at.AIR_H] = M * (1006.0 * temperature_degC + W * (2.501e6 + 1860.0 * temperature_degC))


def _gain(lag_s: float, dt: float) -> float:
    return 1.0 - exp(-dt / lag_s)


def _fall_m_per_s(droplet_um: float) -> float:
    """Stokes' law; 5 % fast at 50 um."""
    d = droplet_um * 1e-6
    return WATER_KG_PER_M3 * 9.81 * d * d / (18.0 * AIR_PA_S)


def _probes(c: Tables, p: PlantParams) -> None:
    for i, probe in enumerate(p.probe):
        lo, hi = SPANS.get(probe.sees, (-10.0, 60.0))
        scale = 100.0 if probe.sees == "rh" else 1.0
        c.probe[:, i] = (probe.lag_s, probe.noise, probe.offset, lo, hi, scale)


def _source(p: PlantParams, probe: Probe, loaded: Floats) -> int:
    """Entry of the state vector that a probe sees. ValueError for a place that does not exist."""
    bays, levels = p.room.bays, p.room.levels
    n = bays * levels
    size = at.state_size(bays, levels, len(p.probe))
    where = at.state_views(np.arange(size, dtype=float), bays, levels, len(p.probe))
    gear = {
        "supply": at.G_SUPPLY_T, "return": at.G_RETURN_T, "hall": at.G_HALL_T, "outdoor_t": at.G_OUT_T,
        "outdoor_rh": at.G_OUT_RH, "water": at.G_WATER_T, "fan_speed": at.G_SPEED, "airflow": at.G_FLOW,
        "valve": at.G_VALVE, "damper": at.G_DAMPER, "heat_kW": at.G_HEAT_kW, "fan_kW": at.G_FAN_kW,
        "fog_kg_per_h": at.G_FOG_KG_H,
    }  # fmt: skip
    if probe.sees in gear:
        return int(where.gear[gear[probe.sees]])
    level = levels if probe.sees == "ceiling" else (probe.level or levels // 2 + 1)
    if not (1 <= probe.bay <= bays and 1 <= level <= levels):
        raise ValueError(f"probe {probe.tag}: bay {probe.bay} level {level} is outside {bays} bays x {levels} levels")
    cell = (probe.bay - 1) * levels + level - 1
    if probe.sees == "frame":
        return int(where.wall[at.S_T, n + probe.bay - 1])
    empty = probe.sees == "product" and not loaded[cell]
    row = {
        "air": where.air[at.AIR_T], "rh": where.air[at.AIR_RH], "board": where.board[at.S_T],
        "ceiling": where.wall[at.S_T], "product": where.board[at.S_T] if empty else where.product[at.P_CORE],
    }[probe.sees]  # fmt: skip
    return int(row[cell])
