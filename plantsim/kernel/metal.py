"""Hot metal in the air stream: elements or a gas exchanger, which keep their heat when the fan or the power goes."""

from __future__ import annotations

from math import exp

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    G_COIL_W,
    G_ELEMENT_T,
    G_FLOW,
    G_RETURN_T,
    K_DRAUGHT,
    K_ELEMENT_J_K,
    K_ELEMENT_W_K,
    K_FAN_RATED,
    Floats,
    G_HEAT_kW,
)
from plantsim.kernel.moistair import HUMID_AIR_J_PER_KG_K

FLOW_POWER = 0.6  # heat transfer of tubes in cross flow goes with the flow to this power (Zukauskas); from memory


@inner
def give_heat(k: Floats, gear: Floats, power_W: float, dt: float) -> None:
    """Power into the metal for dt, and out of it what the passing air takes: the exact solution, nothing lost.

    Metal colder than the air takes nothing from it.
    """
    UA = k[K_ELEMENT_W_K] * (_passing(k, gear) / k[K_FAN_RATED]) ** FLOW_POWER
    C = k[K_ELEMENT_J_K]
    before = gear[G_ELEMENT_T]
    level = gear[G_RETURN_T] + power_W / UA
    after = level + (before - level) * exp(-UA * dt / C)
    given = power_W * dt - C * (after - before)
    if given < 0.0:
        given = 0.0
        after = before + power_W * dt / C
    gear[G_ELEMENT_T] = after
    gear[G_COIL_W] = given / dt
    gear[G_HEAT_kW] = gear[G_COIL_W] * 1e-3


@inner
def leaves_at(k: Floats, gear: Floats) -> float:
    """Temperature, degC, of the air that leaves the metal: by the fan, or by its own draught."""
    T: float = gear[G_RETURN_T] + gear[G_COIL_W] / (_passing(k, gear) * HUMID_AIR_J_PER_KG_K)
    return T


@inner
def _passing(k: Floats, gear: Floats) -> float:
    flow: float = max(gear[G_FLOW], k[K_DRAUGHT])
    return flow
