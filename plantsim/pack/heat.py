"""The source of heat and the limiter: the scalars of their constants."""

from __future__ import annotations

from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats
from plantsim.pack.common import gain
from plantsim.params import PlantParams


def pack_heat(k: Floats, p: PlantParams, dt: float) -> None:
    """Constants of coil and limiter into k."""
    k[at.K_COIL_W], k[at.K_COIL_WATER], k[at.K_COIL_AIR] = p.coil.max_kW * 1e3, p.coil.water_degC, p.coil.air_degC
    k[at.K_COIL_UA], k[at.K_COIL_DRAUGHT] = p.coil.UA_kW_per_K * 1e3, p.coil.draught_kg_per_s
    k[at.K_COIL_R], k[at.K_COIL_N] = p.coil.rangeability, p.coil.authority
    k[at.K_COIL_STEP], k[at.K_COIL_GAIN] = 100.0 / p.coil.stroke_s * dt, gain(p.coil.lag_s, dt)
    k[at.K_LIMIT], k[at.K_LIMIT_GAIN] = p.limiter.trip_degC, gain(p.limiter.lag_s, dt)
