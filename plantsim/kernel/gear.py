"""Equipment together: fan, heater of whichever kind, exhaust damper, fog, frame heating, hard-wired limiter.

Each follows its output, or its switch at the panel when that is in hand, with its own speed. The hard-wired chains
(emergency stop, limiter) act here, without the controller and in hand too.
"""

from __future__ import annotations

from plantsim.kernel.coil import heat_coil
from plantsim.kernel.drives import motor, opened, stem
from plantsim.kernel.electric import heat_elements
from plantsim.kernel.gas import heat_exchanger
from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    D_CHAIN,
    D_DARK,
    D_HAND_FAN,
    D_HAND_HEAT,
    D_PANEL_HEAT,
    D_PRESSURE,
    ELECTRIC,
    G_DAMPER,
    G_DAMPER_MOTOR,
    G_FAN_W,
    G_FLOW,
    G_FRAME_W,
    G_LIMITER_T,
    G_SPEED,
    G_STEAM_J,
    G_STEAM_KG,
    G_SUPPLY_T,
    G_TRIPPED,
    G_VENT,
    GAS,
    K_DAMPER_FAILS,
    K_DAMPER_PLAY,
    K_DAMPER_STICK,
    K_FAN_FULL,
    K_FAN_GAIN,
    K_FAN_RATED,
    K_FAN_RATED_W,
    K_FRAME_W,
    K_HEAT_KIND,
    K_LIMIT,
    K_LIMIT_GAIN,
    K_VENT,
    K_VENT_N,
    K_VENT_R,
    K_VENT_STEP,
    WATER,
    Floats,
    G_FAN_kW,
    Kinds,
)
from plantsim.kernel.metal import leaves_at
from plantsim.kernel.spray import make_fog
from plantsim.kernel.steam import blow_steam

SMALL_SPEED_PCT = 0.5  # a fan below it stands


@inner
def run_gear(k: Floats, gear: Floats, line: Floats, drive: Floats, step: int, dt: float, kinds: Kinds) -> None:
    """Move all equipment on by dt. drive: the outputs, then what else comes from outside."""
    chain, dark = drive[D_CHAIN] > 0.5, drive[D_DARK] > 0.5
    _limit(k, gear, kinds)
    tripped = gear[G_TRIPPED] > 0.5
    fan_pct = drive[1] if drive[0] > 0.5 else 0.0
    if drive[D_HAND_FAN] > 0.0:
        fan_pct = drive[D_HAND_FAN] - 1.0
    _turn_fan(k, gear, fan_pct if chain else 0.0)
    gear[G_STEAM_KG] = gear[G_STEAM_J] = 0.0
    _heat(k, gear, drive, chain and not tripped and drive[D_PANEL_HEAT] > 0.5, dark, dt, kinds)
    wanted = 100.0 if tripped else drive[4]
    gear[G_DAMPER_MOTOR] = motor(gear[G_DAMPER_MOTOR], wanted, k[K_VENT_STEP], dark, k[K_DAMPER_FAILS])
    gear[G_DAMPER] = stem(gear[G_DAMPER], gear[G_DAMPER_MOTOR], k[K_DAMPER_PLAY], k[K_DAMPER_STICK])
    gear[G_VENT] = k[K_VENT] * opened(gear[G_DAMPER] / 100.0, k[K_VENT_R], k[K_VENT_N])
    make_fog(k, gear, line, drive, chain and drive[D_PRESSURE] > 0.5, step, dt, kinds)
    gear[G_FRAME_W] = k[K_FRAME_W] if drive[7] > 0.5 else 0.0


@inner
def _heat(k: Floats, gear: Floats, drive: Floats, safe: bool, dark: bool, dt: float, kinds: Kinds) -> None:
    """The heater of this chamber. safe: the hard-wired chain allows it."""
    call, pct, hand_pct = drive[2] > 0.5, drive[3], drive[D_HAND_HEAT] - 1.0
    if hand_pct >= 0.0:
        call, pct = hand_pct > 0.0, hand_pct
    kind = k[K_HEAT_KIND]
    if kind == WATER:
        heat_coil(k, gear, safe and call, pct, dark)
    elif kinds is not None:
        if kind == ELECTRIC:
            heat_elements(k, gear, drive, safe and call, hand_pct, dt)
        elif kind == GAS:
            heat_exchanger(k, gear, safe, call, pct, dt)
        else:
            blow_steam(k, gear, safe and call, pct, dark, dt)


@inner
def _limit(k: Floats, gear: Floats, kinds: Kinds) -> None:
    near = gear[G_SUPPLY_T]
    if kinds is not None and (k[K_HEAT_KIND] == ELECTRIC or k[K_HEAT_KIND] == GAS):
        near = max(near, leaves_at(k, gear))
    gear[G_LIMITER_T] += (near - gear[G_LIMITER_T]) * k[K_LIMIT_GAIN]
    if gear[G_LIMITER_T] > k[K_LIMIT]:
        gear[G_TRIPPED] = 1.0


@inner
def _turn_fan(k: Floats, gear: Floats, wanted_pct: float) -> None:
    speed = gear[G_SPEED] + (wanted_pct - gear[G_SPEED]) * k[K_FAN_GAIN]
    if wanted_pct < SMALL_SPEED_PCT and speed < SMALL_SPEED_PCT:
        speed = 0.0
    gear[G_SPEED] = speed
    flow = k[K_FAN_FULL] * speed / 100.0
    ratio = flow / k[K_FAN_RATED]
    gear[G_FLOW] = flow
    gear[G_FAN_W] = k[K_FAN_RATED_W] * ratio * ratio * ratio
    gear[G_FAN_kW] = gear[G_FAN_W] * 1e-3
