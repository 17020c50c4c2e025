"""Fog: nozzle banks at one pressure, banks behind a pump of variable speed, or a steam humidifier; and what
becomes of the droplets."""

from __future__ import annotations

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    D_FOG_PCT,
    D_HAND_FOG,
    G_DROP,
    G_EVAPORATED,
    G_FOG_KG,
    G_FOG_KG_H,
    G_PUMP,
    HUMIDIFIER,
    K_BANK_A,
    K_BANK_B,
    K_DROP_EVAPORATES,
    K_DROP_FALLS,
    K_DROP_GROWS,
    K_FOG_KIND,
    K_LINE_STEPS,
    K_PRESSURE,
    K_PUMP_GAIN,
    K_PUMP_OPEN,
    LINE,
    PUMP,
    Floats,
    Kinds,
)
from plantsim.kernel.moistair import HUMID_AIR_J_PER_KG_K, MOLAR_RATIO, psat_and_slope
from plantsim.kernel.steam import humidify


@inner
def make_fog(
    k: Floats, gear: Floats, line: Floats, drive: Floats, ready: bool, step: int, dt: float, kinds: Kinds
) -> None:
    """Water of this step. ready: there is power and water pressure."""
    bank_a, bank_b, pct = drive[5] > 0.5, drive[6] > 0.5, drive[D_FOG_PCT]
    hand = drive[D_HAND_FOG]
    if hand > 0.0:
        pct = hand - 1.0
        bank_a = bank_b = pct > 0.0
    share = 1.0
    if kinds is not None:
        if k[K_FOG_KIND] == HUMIDIFIER:
            humidify(k, gear, pct if ready and bank_a else 0.0, dt)
            return
        if k[K_FOG_KIND] == PUMP:
            share = _pumped(k, gear, pct if ready else 0.0)
    now = step % LINE
    then = (step - int(k[K_LINE_STEPS])) % LINE
    line[0, now] = k[K_BANK_A] * share if ready and bank_a else 0.0
    line[1, now] = k[K_BANK_B] * share if ready and bank_b else 0.0
    gear[G_FOG_KG_H] = line[0, then] + line[1, then]
    gear[G_FOG_KG] = gear[G_FOG_KG_H] * dt / 3600.0
    if gear[G_FOG_KG] == 0.0:
        gear[G_EVAPORATED] = 1.0


@inner
def evaporated_share(k: Floats, temperature_degC: float, W: float, size: float = 1.0) -> float:
    """Share of the spray that evaporates before it lands, from rates of evaporation and of fall.

    Rate of evaporation of a droplet at its wet-bulb temperature 12 D rho dW / (rho_l d**2), with dW the drive there:
    (Ws - W) / (1 + r/cp dWs/dT). Near saturation the share falls to 0. Source: d-square law with Sh = 2, from memory.
    size: of the droplets over the rated one.
    """
    p, slope = psat_and_slope(temperature_degC)
    free = k[K_PRESSURE] - p
    Ws = MOLAR_RATIO * p / free
    room = Ws - W
    if room <= 0.0:
        return 0.0
    dWs = MOLAR_RATIO * k[K_PRESSURE] * slope / (free * free)
    square = size * size
    rate = k[K_DROP_EVAPORATES] / square * room / (1.0 + 2.43e6 / HUMID_AIR_J_PER_KG_K * dWs)
    share: float = rate / (rate + k[K_DROP_FALLS] * square)
    return share


@inner
def _pumped(k: Floats, gear: Floats, wanted_pct: float) -> float:
    """Flow of an open bank over its rated one; sets the size of the droplets too.

    Flow through a nozzle goes with the root of the pressure, and that of a piston pump with its speed, so the
    pressure goes with the square of the speed. Droplets of pressure nozzles: Lefebvre, Atomization and Sprays; the
    exponent from memory.
    """
    gear[G_PUMP] += (wanted_pct - gear[G_PUMP]) * k[K_PUMP_GAIN]
    if gear[G_PUMP] < k[K_PUMP_OPEN] or gear[G_PUMP] <= 0.0:
        return 0.0
    share: float = 0.01 * gear[G_PUMP]
    gear[G_DROP] = share ** -k[K_DROP_GROWS]
    return share
