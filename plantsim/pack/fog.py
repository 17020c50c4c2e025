"""Fog banks, pump or humidifier, and droplets: the scalars of their constants."""

from __future__ import annotations

from math import sqrt

from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats
from plantsim.kernel.moistair import LIQUID_J_PER_KG_K
from plantsim.pack.common import gain
from plantsim.params import PlantParams, PumpedFog, SteamFog
from plantsim.params.fog import Spray

WATER_KG_PER_M3 = 998.0
AIR_PA_S = 1.87e-5
# Diffusion of vapour in air at 32 degC, and density of humid air. Source: from memory.
DIFFUSION_M2_PER_S = 2.62e-5
HUMID_AIR_KG_PER_M3 = 1.137


def pack_fog(k: Floats, p: PlantParams, dt: float) -> None:
    """Constants of the fog into k. ValueError for a line longer than the model can hold."""
    fog, room = p.fog, p.room
    k[at.K_SETTLE] = fall_m_per_s(fog.settle_droplet_um) / (room.height_m / room.levels)
    if isinstance(fog, SteamFog):
        k[at.K_FOG_KIND] = at.HUMIDIFIER
        k[at.K_FOG_STEAM_KG_H], k[at.K_FOG_STEAM_J] = fog.max_kg_per_h, fog.J_per_kg
        boil_J = fog.J_per_kg - LIQUID_J_PER_KG_K * fog.supply_degC
        k[at.K_FOG_STEAM_W] = boil_J / fog.efficiency / 3600.0
        k[at.K_FOG_STEAM_GAIN] = gain(fog.lag_s, dt)
        return
    k[at.K_FOG_KIND] = at.NOZZLES
    _spray(k, fog, dt)
    if isinstance(fog, PumpedFog):
        k[at.K_FOG_KIND] = at.PUMP
        k[at.K_PUMP_OPEN] = 100.0 * sqrt(fog.open_bar / fog.rated_bar)
        k[at.K_PUMP_GAIN], k[at.K_DROP_GROWS] = gain(fog.pump_lag_s, dt), 2.0 * fog.droplet_exponent


def _spray(k: Floats, fog: Spray, dt: float) -> None:
    k[at.K_BANK_A], k[at.K_BANK_B], k[at.K_FOG_T] = fog.bank_a_kg_per_h, fog.bank_b_kg_per_h, fog.water_degC
    steps = round(fog.line_delay_s / dt)
    if steps >= at.LINE:
        raise ValueError(f"fog.line_delay_s {fog.line_delay_s} is {steps} steps of {dt} s; at most {at.LINE - 1}")
    k[at.K_LINE_STEPS] = steps
    spread = 12.0 * DIFFUSION_M2_PER_S * HUMID_AIR_KG_PER_M3 / WATER_KG_PER_M3
    k[at.K_DROP_EVAPORATES] = spread / (fog.droplet_um * 1e-6) ** 2
    k[at.K_DROP_FALLS] = fall_m_per_s(fog.droplet_um) / fog.fall_m


def fall_m_per_s(droplet_um: float) -> float:
    """Stokes' law; 5 % fast at 50 um."""
    d = droplet_um * 1e-6
    return WATER_KG_PER_M3 * 9.81 * d * d / (18.0 * AIR_PA_S)
