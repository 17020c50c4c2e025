"""Water as vapour: live steam for heat, or a steam humidifier for fog. It carries its own enthalpy into the plenum.

What the air cannot hold is fog there and then, by the same equilibrium as everywhere; the rest condenses where it
meets something colder than its dew point.
"""

from __future__ import annotations

from plantsim.kernel.drives import turn_valve
from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    B_ABS,
    B_ABS_J,
    B_STEAM,
    B_STEAM_J,
    G_FOG_KG_H,
    G_FOG_STEAM_KG_H,
    G_INPUT_W,
    G_STEAM_J,
    G_STEAM_KG,
    G_STEAM_KG_H,
    K_COIL_GAIN,
    K_FOG_STEAM_GAIN,
    K_FOG_STEAM_J,
    K_FOG_STEAM_KG_H,
    K_FOG_STEAM_W,
    K_STEAM_J,
    K_STEAM_KG_H,
    Floats,
    G_HEAT_kW,
)

LITTLE_KG_PER_H = 1e-3


@inner
def blow_steam(k: Floats, gear: Floats, on: bool, wanted_pct: float, dark: bool, dt: float) -> None:
    """Steam through the heating valve in dt."""
    wanted = k[K_STEAM_KG_H] * turn_valve(k, gear, on, wanted_pct, dark)
    flow = _lagged(gear[G_STEAM_KG_H], wanted, k[K_COIL_GAIN])
    gear[G_STEAM_KG_H] = flow
    _add(gear, flow, k[K_STEAM_J], dt)
    gear[G_INPUT_W] = flow * k[K_STEAM_J] / 3600.0
    gear[G_HEAT_kW] = gear[G_INPUT_W] * 1e-3


@inner
def humidify(k: Floats, gear: Floats, wanted_pct: float, dt: float) -> None:
    """Steam of the humidifier in dt; it boils up and off with its own time constant."""
    flow = _lagged(gear[G_FOG_STEAM_KG_H], k[K_FOG_STEAM_KG_H] * 0.01 * wanted_pct, k[K_FOG_STEAM_GAIN])
    gear[G_FOG_STEAM_KG_H] = flow
    gear[G_FOG_KG_H] = flow
    _add(gear, flow, k[K_FOG_STEAM_J], dt)
    gear[G_INPUT_W] += flow * k[K_FOG_STEAM_W]


@inner
def book_steam(gear: Floats, books: Floats) -> None:
    """Into the books what comes as steam in this step."""
    books[B_STEAM] += gear[G_STEAM_KG]
    books[B_STEAM_J] += gear[G_STEAM_J]
    books[B_ABS] += gear[G_STEAM_KG]
    books[B_ABS_J] += gear[G_STEAM_J]


@inner
def _lagged(flow: float, wanted: float, gain: float) -> float:
    flow += (wanted - flow) * gain
    return 0.0 if wanted == 0.0 and flow < LITTLE_KG_PER_H else flow


@inner
def _add(gear: Floats, kg_per_h: float, J_per_kg: float, dt: float) -> None:
    kg = kg_per_h * dt / 3600.0
    gear[G_STEAM_KG] += kg
    gear[G_STEAM_J] += kg * J_per_kg
