"""Heat by a hot-water coil behind its valve."""

from __future__ import annotations

from math import exp

from plantsim.kernel.drives import turn_valve
from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    G_COIL_W,
    G_FLOW,
    G_INPUT_W,
    G_RETURN_T,
    G_WATER_T,
    K_COIL_AIR,
    K_COIL_DRAUGHT,
    K_COIL_GAIN,
    K_COIL_UA,
    K_COIL_W,
    K_COIL_WATER,
    K_FAN_RATED,
    Floats,
    G_HEAT_kW,
)
from plantsim.kernel.moistair import HUMID_AIR_J_PER_KG_K


@inner
def heat_coil(k: Floats, gear: Floats, on: bool, wanted_pct: float, dark: bool) -> None:
    """Heat of the coil, with the water as warm as it is and the air that passes."""
    flow = turn_valve(k, gear, on, wanted_pct, dark)
    heat = 0.0
    if flow > 0.0:
        warm = (gear[G_WATER_T] - gear[G_RETURN_T]) / (k[K_COIL_WATER] - k[K_COIL_AIR])
        air = _carried(max(gear[G_FLOW], k[K_COIL_DRAUGHT]), k[K_COIL_UA]) / _carried(k[K_FAN_RATED], k[K_COIL_UA])
        heat = min(max(k[K_COIL_W] * flow * warm * air, 0.0), k[K_COIL_W])
    gear[G_COIL_W] += (heat - gear[G_COIL_W]) * k[K_COIL_GAIN]
    if heat == 0.0 and gear[G_COIL_W] < 1.0:
        gear[G_COIL_W] = 0.0
    gear[G_INPUT_W] = gear[G_COIL_W]
    gear[G_HEAT_kW] = gear[G_COIL_W] * 1e-3


@inner
def _carried(flow_kg_per_s: float, UA_W_per_K: float) -> float:
    """Heat taken up per kelvin between water and incoming air, W/K: an exchanger with much more water than air."""
    C = flow_kg_per_s * HUMID_AIR_J_PER_KG_K
    return C * (1.0 - exp(-UA_W_per_K / C))
