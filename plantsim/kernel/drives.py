"""Valve and damper drives: stroke, play, stiction, where they go without power; and what passes at a position."""

from __future__ import annotations

from math import sqrt

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    G_MOTOR,
    G_VALVE,
    K_COIL_N,
    K_COIL_R,
    K_COIL_STEP,
    K_VALVE_FAILS,
    K_VALVE_LEAK,
    K_VALVE_PLAY,
    K_VALVE_STICK,
    OPEN,
    STAY,
    Floats,
)

NOTHING = 1e-6  # a valve open by less is shut: flows of 1e-300 would divide by 0
CLOSES = 0.02  # a valve closes linearly below this opening; the equal-percentage law never closes


@inner
def motor(position_pct: float, wanted_pct: float, most_pct: float, dark: bool, fails: float) -> float:
    """Where a drive stands a step on, at most `most_pct` from here; without power it goes where it fails to."""
    wanted = wanted_pct
    if dark:
        wanted = position_pct if fails == STAY else 100.0 if fails == OPEN else 0.0
    return position_pct + min(max(wanted - position_pct, -most_pct), most_pct)


@inner
def stem(position_pct: float, motor_pct: float, play_pct: float, stiction_pct: float) -> float:
    """Where the stem stands behind a drive with play (dead band on reversal) that breaks loose with a jump.

    Both ends are pressed home. Without play and stiction the stem is where the drive is.
    """
    if motor_pct <= 0.0:
        return 0.0
    if motor_pct >= 100.0:
        return 100.0
    pushed = min(max(position_pct, motor_pct - 0.5 * play_pct), motor_pct + 0.5 * play_pct)
    return pushed if abs(pushed - position_pct) > stiction_pct else position_pct


@inner
def opened(x: float, rangeability: float, authority: float) -> float:
    """Flow of an equal-percentage valve at opening x (0..1) over that of the open valve, installed with authority N.

    kv = R**(x - 1), flow = 1 / sqrt(1 + N (1/kv**2 - 1)): common practice of control valve sizing, from memory.
    """
    if x < NOTHING:
        return 0.0
    kv: float = rangeability ** (max(x, CLOSES) - 1.0)
    if x < CLOSES:
        kv *= x / CLOSES
    return 1.0 / sqrt(1.0 + authority * (1.0 / (kv * kv) - 1.0))


@inner
def turn_valve(k: Floats, gear: Floats, on: bool, wanted_pct: float, dark: bool) -> float:
    """Move the heating valve on; what passes it, over its full flow: a shut one or one without supply only leaks."""
    gear[G_MOTOR] = motor(gear[G_MOTOR], wanted_pct if on else 0.0, k[K_COIL_STEP], dark, k[K_VALVE_FAILS])
    gear[G_VALVE] = stem(gear[G_VALVE], gear[G_MOTOR], k[K_VALVE_PLAY], k[K_VALVE_STICK])
    flow = 0.0
    if on and gear[G_VALVE] > 0.0:
        flow = opened(gear[G_VALVE] / 100.0, k[K_COIL_R], k[K_COIL_N])
    passes: float = max(flow, k[K_VALVE_LEAK])
    return passes
