"""Heat by electric elements, in stages behind one main contactor."""

from __future__ import annotations

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import D_STAGE, G_INPUT_W, K_STAGE, STAGES, Floats
from plantsim.kernel.metal import give_heat


@inner
def heat_elements(k: Floats, gear: Floats, drive: Floats, on: bool, hand_pct: float, dt: float) -> None:
    """Elements of the stages that are on. hand_pct: share of all of them in hand, or below 0 in automatic."""
    power = 0.0
    if on:
        for i in range(STAGES):
            power += k[K_STAGE + i] * (drive[D_STAGE + i] if hand_pct < 0.0 else 0.01 * hand_pct)
    gear[G_INPUT_W] = power
    give_heat(k, gear, power, dt)
