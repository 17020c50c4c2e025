"""The first state: everything at mix temperature."""

from __future__ import annotations

import numpy as np

from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats, Tables, Views
from plantsim.kernel.moistair import psat
from plantsim.pack.heat import first_temperature
from plantsim.pack.mixes import Concrete
from plantsim.pack.probes import pack_senses
from plantsim.pack.product import inner_kg
from plantsim.params import PlantParams


def pack_start(v: Views, c: Tables, p: PlantParams, charge: Charge, fill: Floats, mix: Concrete) -> None:
    """Fill the state of a chamber whose air, product, boards and envelope have the temperature of the mix."""
    T = charge.mix_degC
    W = p.start.rh_pct / 100.0
    set_air(v, c, T, W)
    v.product[at.P_SKIN], v.product[at.P_CORE] = T, T
    v.product[at.P_INNER] = inner_kg(p, fill * p.product.nominal_t * 1e3 / fill.size, mix)
    v.product[at.P_AGE_h], v.product[at.P_AGE40_h] = charge.age_h, charge.age_h
    v.board[at.S_T], v.wall[at.S_T], v.floor[:] = T, T, T
    v.gear[at.G_WATER_T], v.gear[at.G_LIMITER_T] = first_temperature(p.heat, T), T
    v.gear[at.G_FIRE_S], v.gear[at.G_DROP] = c.k[at.K_FIRE_OFF], 1.0
    v.gear[at.G_SUPPLY_T], v.gear[at.G_RETURN_T], v.gear[at.G_HALL_T] = T, T, p.hall.degC
    v.gear[at.G_EVAPORATED] = 1.0
    v.lagged[:] = np.nan
    pack_senses(v.senses, p)


def set_air(v: Views, c: Tables, temperature_degC: float, rh: float) -> None:
    """Fill every cell with air of one state; rh as a fraction."""
    P, M = c.k[at.K_PRESSURE], c.k[at.K_AIR_KG]
    pv = rh * psat(temperature_degC)
    W = 0.621945 * pv / (P - pv)
    v.air[at.AIR_T], v.air[at.AIR_W], v.air[at.AIR_FOG], v.air[at.AIR_RH] = temperature_degC, W, 0.0, rh
    v.gear[at.G_SUPPLY_W] = W
    v.air[at.AIR_WATER] = M * W
    v.air[at.AIR_H] = M * (1006.0 * temperature_degC + W * (2.501e6 + 1860.0 * temperature_degC))
