"""The source of heat and the limiter: the scalars of their constants."""

from __future__ import annotations

from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats
from plantsim.pack.common import FAILS, gain
from plantsim.params import Coil, Electric, Gas, PlantParams, Steam


def pack_heat(k: Floats, p: PlantParams, dt: float) -> None:
    """Constants of the heater, of whichever kind, and of the limiter into k."""
    k[at.K_LIMIT], k[at.K_LIMIT_GAIN] = p.limiter.trip_degC, gain(p.limiter.lag_s, dt)
    heat = p.heat
    if isinstance(heat, Coil):
        k[at.K_HEAT_KIND] = at.WATER
        k[at.K_COIL_W], k[at.K_COIL_WATER], k[at.K_COIL_AIR] = heat.max_kW * 1e3, heat.water_degC, heat.air_degC
        k[at.K_COIL_UA], k[at.K_COIL_DRAUGHT] = heat.UA_kW_per_K * 1e3, heat.draught_kg_per_s
        _valve(k, heat, dt)
    elif isinstance(heat, Steam):
        k[at.K_HEAT_KIND] = at.STEAM
        k[at.K_STEAM_KG_H] = heat.max_kg_per_h
        k[at.K_STEAM_J] = heat.J_per_kg + heat.wet_share * (heat.water_J_per_kg - heat.J_per_kg)
        _valve(k, heat, dt)
    elif isinstance(heat, Electric):
        k[at.K_HEAT_KIND] = at.ELECTRIC
        for i, kW in enumerate(heat.stage_kW):
            k[at.K_STAGE + i] = kW * 1e3
        _hot_metal(k, heat, sum(heat.stage_kW) * 1e3)
    else:
        k[at.K_HEAT_KIND] = at.GAS
        k[at.K_FIRE_W], k[at.K_FIRE_MIN], k[at.K_EFFICIENCY] = heat.max_kW * 1e3, heat.min_fire_share, heat.efficiency
        k[at.K_PURGE], k[at.K_FIRE_ON], k[at.K_FIRE_OFF] = heat.purge_s, heat.min_on_s, heat.min_off_s
        _hot_metal(k, heat, heat.max_kW * 1e3)


def first_temperature(heat: Coil | Electric | Gas | Steam, air_degC: float) -> float:
    """What the water probe of the heater shows at the start: the water of a coil, else what stands in the air."""
    return heat.water_degC if isinstance(heat, Coil) else air_degC


def _valve(k: Floats, valve: Coil | Steam, dt: float) -> None:
    k[at.K_COIL_R], k[at.K_COIL_N] = valve.rangeability, valve.authority
    k[at.K_COIL_STEP], k[at.K_COIL_GAIN] = 100.0 / valve.stroke_s * dt, gain(valve.lag_s, dt)
    k[at.K_VALVE_PLAY], k[at.K_VALVE_STICK] = valve.play_pct, valve.stiction_pct
    k[at.K_VALVE_LEAK], k[at.K_VALVE_FAILS] = valve.leak_share, FAILS[valve.fails]


def _hot_metal(k: Floats, heat: Electric | Gas, full_W: float) -> None:
    k[at.K_ELEMENT_W_K] = full_W / heat.rise_K
    k[at.K_ELEMENT_J_K] = full_W / heat.rise_K * heat.lag_s
    k[at.K_DRAUGHT] = heat.draught_kg_per_s
