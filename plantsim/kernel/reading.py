"""The signal of an instrument that is not plain: transmitter with its errors, and the input card that counts it."""

from __future__ import annotations

from math import floor, isnan

from plantsim.kernel.instruments import FULL_SCALE_uA, LIVE_ZERO_uA, SATURATION_HI_uA, SATURATION_LO_uA
from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    R_HI,
    R_LEAST,
    R_LO,
    R_MOST,
    R_NOISE,
    R_ODD,
    R_OFFSET,
    R_SPAN_ERROR,
    R_ZERO_ERROR,
    Floats,
    R_CARD_HI_uA,
    R_CARD_LO_uA,
    R_CARD_ZERO_uA,
    R_COUNT_uA,
    R_FAILS_uA,
    Tables,
    Views,
    Whole,
)
from plantsim.kernel.noise import gaussian, step_key


@inner
def transmit(c: Tables, v: Views, seed: int, number: int, out_uA: Whole) -> None:
    """Give the probes that are not plain the currents of their own transmitters and cards. `sense` has lagged them."""
    p = c.probe
    key = step_key(seed, number)
    for j in range(p.shape[1]):
        i = int(p[R_ODD, j])
        if i < 0:
            break
        if isnan(v.values[i]):
            out_uA[i] = counted(p[:, i], p[R_FAILS_uA, i])
            continue
        shown = v.lagged[i] + p[R_OFFSET, i]
        if p[R_NOISE, i] > 0.0:
            shown += p[R_NOISE, i] * gaussian(key, i)
        out_uA[i] = counted(p[:, i], current_uA(p[:, i], shown))


@inner
def current_uA(own: Floats, shown: float) -> float:
    """Current that a transmitter in order sends for what its sensor shows. own: the constants of the probe."""
    value = min(max(shown, own[R_LEAST]), own[R_MOST])
    x = (value - own[R_LO]) / (own[R_HI] - own[R_LO])
    error = own[R_ZERO_ERROR] + (own[R_SPAN_ERROR] - own[R_ZERO_ERROR]) * x
    current = LIVE_ZERO_uA + (FULL_SCALE_uA - LIVE_ZERO_uA) * x + error
    sent: float = min(max(current, SATURATION_LO_uA), SATURATION_HI_uA)
    return sent


@inner
def counted(own: Floats, current: float) -> int:
    """A current as the card counts it, in whole uA; beyond its ends it sees its ends."""
    seen = min(max(current, own[R_CARD_LO_uA]), own[R_CARD_HI_uA])
    count = floor((seen - own[R_CARD_ZERO_uA]) / own[R_COUNT_uA] + 0.5)
    shown: int = floor(own[R_CARD_ZERO_uA] + count * own[R_COUNT_uA] + 0.5)
    return shown
