"""Equipment: fan, coil behind its valve, exhaust damper, fog banks, frame heating, hard-wired limiter.

Each follows its output with its own speed. The hard-wired chains (emergency stop, limiter) act here, without the
controller.
"""

from __future__ import annotations

from math import exp, sqrt

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    D_CHAIN,
    D_PANEL_HEAT,
    D_PRESSURE,
    G_COIL_W,
    G_DAMPER,
    G_EVAPORATED,
    G_FAN_W,
    G_FLOW,
    G_FOG_KG,
    G_FOG_KG_H,
    G_FRAME_W,
    G_LIMITER_T,
    G_RETURN_T,
    G_SPEED,
    G_SUPPLY_T,
    G_TRIPPED,
    G_VALVE,
    G_VENT,
    G_WATER_T,
    K_BANK_A,
    K_BANK_B,
    K_COIL_AIR,
    K_COIL_DRAUGHT,
    K_COIL_GAIN,
    K_COIL_N,
    K_COIL_R,
    K_COIL_STEP,
    K_COIL_UA,
    K_COIL_W,
    K_COIL_WATER,
    K_DROP_EVAPORATES,
    K_DROP_FALLS,
    K_FAN_FULL,
    K_FAN_GAIN,
    K_FAN_RATED,
    K_FAN_RATED_W,
    K_FRAME_W,
    K_LIMIT,
    K_LIMIT_GAIN,
    K_LINE_STEPS,
    K_PRESSURE,
    K_VENT,
    K_VENT_N,
    K_VENT_R,
    K_VENT_STEP,
    LINE,
    Floats,
    G_FAN_kW,
    G_HEAT_kW,
)
from plantsim.kernel.moistair import MOLAR_RATIO, psat_and_slope

HUMID_AIR_J_PER_KG_K = 1062.0  # per kg of dry air at 30 g/kg
SMALL_SPEED_PCT = 0.5
SHUT = 0.02  # a valve closes linearly below this opening; the equal-percentage law never closes


@inner
def run_gear(k: Floats, gear: Floats, line: Floats, drive: Floats, step: int, dt: float) -> None:
    """Move all equipment on by dt. drive: the outputs, then what else comes from outside."""
    chain = drive[D_CHAIN] > 0.5
    _limit(k, gear)
    tripped = gear[G_TRIPPED] > 0.5
    _turn_fan(k, gear, drive[1] if chain and drive[0] > 0.5 else 0.0)
    heat = chain and not tripped and drive[D_PANEL_HEAT] > 0.5 and drive[2] > 0.5
    _heat_coil(k, gear, heat, drive[3])
    wanted = 100.0 if tripped else drive[4]
    gear[G_DAMPER] = _toward(gear[G_DAMPER], wanted, k[K_VENT_STEP])
    gear[G_VENT] = k[K_VENT] * opened(gear[G_DAMPER] / 100.0, k[K_VENT_R], k[K_VENT_N])
    wet = chain and drive[D_PRESSURE] > 0.5
    _spray(k, gear, line, wet and drive[5] > 0.5, wet and drive[6] > 0.5, step, dt)
    gear[G_FRAME_W] = k[K_FRAME_W] if drive[7] > 0.5 else 0.0


@inner
def opened(x: float, rangeability: float, authority: float) -> float:
    """Flow of an equal-percentage valve at opening x (0..1) over that of the open valve, installed with authority N.

    kv = R**(x - 1), flow = 1 / sqrt(1 + N (1/kv**2 - 1)): common practice of control valve sizing, from memory.
    """
    if x <= 0.0:
        return 0.0
    kv: float = rangeability ** (max(x, SHUT) - 1.0)
    if x < SHUT:
        kv *= x / SHUT
    return 1.0 / sqrt(1.0 + authority * (1.0 / (kv * kv) - 1.0))


@inner
def evaporated_share(k: Floats, temperature_degC: float, W: float) -> float:
    """Share of the spray that evaporates before it lands, from rates of evaporation and of fall.

    Rate of evaporation of a droplet at its wet-bulb temperature 12 D rho dW / (rho_l d**2), with dW the drive there:
    (Ws - W) / (1 + r/cp dWs/dT). Near saturation the share falls to 0. Source: d-square law with Sh = 2, from memory.
    """
    p, slope = psat_and_slope(temperature_degC)
    free = k[K_PRESSURE] - p
    Ws = MOLAR_RATIO * p / free
    room = Ws - W
    if room <= 0.0:
        return 0.0
    dWs = MOLAR_RATIO * k[K_PRESSURE] * slope / (free * free)
    rate = k[K_DROP_EVAPORATES] * room / (1.0 + 2.43e6 / HUMID_AIR_J_PER_KG_K * dWs)
    share: float = rate / (rate + k[K_DROP_FALLS])
    return share


@inner
def _limit(k: Floats, gear: Floats) -> None:
    gear[G_LIMITER_T] += (gear[G_SUPPLY_T] - gear[G_LIMITER_T]) * k[K_LIMIT_GAIN]
    if gear[G_LIMITER_T] > k[K_LIMIT]:
        gear[G_TRIPPED] = 1.0


@inner
def _turn_fan(k: Floats, gear: Floats, wanted_pct: float) -> None:
    speed = gear[G_SPEED] + (wanted_pct - gear[G_SPEED]) * k[K_FAN_GAIN]
    if wanted_pct <= 0.0 and speed < SMALL_SPEED_PCT:
        speed = 0.0
    gear[G_SPEED] = speed
    flow = k[K_FAN_FULL] * speed / 100.0
    ratio = flow / k[K_FAN_RATED]
    gear[G_FLOW] = flow
    gear[G_FAN_W] = k[K_FAN_RATED_W] * ratio * ratio * ratio
    gear[G_FAN_kW] = gear[G_FAN_W] * 1e-3


@inner
def _heat_coil(k: Floats, gear: Floats, on: bool, wanted_pct: float) -> None:
    gear[G_VALVE] = _toward(gear[G_VALVE], wanted_pct if on else 0.0, k[K_COIL_STEP])
    heat = 0.0
    if on and gear[G_VALVE] > 0.0:
        flow = opened(gear[G_VALVE] / 100.0, k[K_COIL_R], k[K_COIL_N])
        warm = (gear[G_WATER_T] - gear[G_RETURN_T]) / (k[K_COIL_WATER] - k[K_COIL_AIR])
        air = _carried(max(gear[G_FLOW], k[K_COIL_DRAUGHT]), k[K_COIL_UA]) / _carried(k[K_FAN_RATED], k[K_COIL_UA])
        heat = min(max(k[K_COIL_W] * flow * warm * air, 0.0), k[K_COIL_W])
    gear[G_COIL_W] += (heat - gear[G_COIL_W]) * k[K_COIL_GAIN]
    if heat == 0.0 and gear[G_COIL_W] < 1.0:
        gear[G_COIL_W] = 0.0
    gear[G_HEAT_kW] = gear[G_COIL_W] * 1e-3


@inner
def _carried(flow_kg_per_s: float, UA_W_per_K: float) -> float:
    """Heat taken up per kelvin between water and incoming air, W/K: an exchanger with much more water than air."""
    C = flow_kg_per_s * HUMID_AIR_J_PER_KG_K
    return C * (1.0 - exp(-UA_W_per_K / C))


@inner
def _spray(k: Floats, gear: Floats, line: Floats, bank_a: bool, bank_b: bool, step: int, dt: float) -> None:
    now = step % LINE
    then = (step - int(k[K_LINE_STEPS])) % LINE
    line[0, now] = k[K_BANK_A] if bank_a else 0.0
    line[1, now] = k[K_BANK_B] if bank_b else 0.0
    gear[G_FOG_KG_H] = line[0, then] + line[1, then]
    gear[G_FOG_KG] = gear[G_FOG_KG_H] * dt / 3600.0
    if gear[G_FOG_KG] == 0.0:
        gear[G_EVAPORATED] = 1.0


@inner
def _toward(value: float, wanted: float, most: float) -> float:
    return value + min(max(wanted - value, -most), most)
