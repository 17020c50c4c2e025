"""Heat by an indirect gas heater: a burner control that purges and keeps its times, and an exchanger with mass."""

from __future__ import annotations

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    G_FIRE,
    G_FIRE_S,
    G_INPUT_W,
    K_EFFICIENCY,
    K_FIRE_MIN,
    K_FIRE_OFF,
    K_FIRE_ON,
    K_FIRE_W,
    K_PURGE,
    Floats,
)
from plantsim.kernel.metal import give_heat

REST, PURGE, FIRE = 0.0, 1.0, 2.0


@inner
def heat_exchanger(k: Floats, gear: Floats, safe: bool, call: bool, wanted_pct: float, dt: float) -> None:
    """Burner and exchanger. call: heat is asked for; safe: the hard-wired chain lets the burner run at all."""
    _control(k, gear, safe, call, dt)
    power = 0.0
    if gear[G_FIRE] == FIRE:
        power = k[K_FIRE_W] * min(max(0.01 * wanted_pct, k[K_FIRE_MIN]), 1.0)
    gear[G_INPUT_W] = power / k[K_EFFICIENCY]
    give_heat(k, gear, power, dt)


@inner
def _control(k: Floats, gear: Floats, safe: bool, call: bool, dt: float) -> None:
    fire, since = gear[G_FIRE], gear[G_FIRE_S] + dt
    if fire == REST:
        follows = PURGE if safe and call and since >= k[K_FIRE_OFF] else REST
    elif fire == PURGE:
        follows = REST if not (safe and call) else FIRE if since > k[K_PURGE] else PURGE
    else:
        follows = REST if not safe or (not call and since > k[K_FIRE_ON]) else FIRE
    # A purge that was broken off has burnt nothing: the rest before it still counts.
    gear[G_FIRE_S] = k[K_FIRE_OFF] if fire == PURGE and follows == REST else 0.0 if follows != fire else since
    gear[G_FIRE] = follows
