"""Noise that depends on nothing but (seed, step, channel): no generator, no order of calls, no hidden state.

Whole numbers below 2**63 only, so that compiled code, plain Python and every machine give the same bits up to the
normal quantile.
"""

from __future__ import annotations

from math import log, sqrt

from plantsim.kernel.jit import shared

_MASK = 0xFFFFFFFF
_ODD = 0x9E3779B1  # 2**32 over the golden ratio, made odd: spreads neighbouring channels


@shared
def mix32(x: int) -> int:
    """One-to-one scrambling of a number in 0..2**32-1 (multiply and shift, every multiplier below 2**31)."""
    x = ((x ^ (x >> 16)) * 0x45D9F3B) & _MASK
    x = ((x ^ (x >> 15)) * 0x7FEB352D) & _MASK
    x = ((x ^ (x >> 16)) * 0x2C1B3C6D) & _MASK
    return x ^ (x >> 15)


@shared
def step_key(seed: int, step: int) -> int:
    """The key of one step of one run; within a seed no two of 2**32 steps share it."""
    return mix32((mix32((seed ^ (seed >> 32)) & _MASK) + step) & _MASK)


@shared
def uniform(key: int, channel: int) -> float:
    """A number inside (0, 1), never 0 or 1."""
    return (mix32((key ^ ((channel + 1) * _ODD)) & _MASK) + 0.5) * 2.3283064365386963e-10


@shared
def gaussian(key: int, channel: int) -> float:
    """A standard normal number, within +-6.4."""
    return normal_quantile(uniform(key, channel))


@shared
def normal_quantile(p: float) -> float:
    """Quantile of the standard normal for 0 < p < 1, relative error about 1e-7.

    Source: M. J. Wichura, Algorithm AS 241 (PPND7), Applied Statistics 37 (1988) 477-484; coefficients from memory,
    checked against another library in the tests.
    """
    q = p - 0.5
    if abs(q) <= 0.425:
        r = 0.180625 - q * q
        top = ((59.109374720 * r + 159.29113202) * r + 50.434271938) * r + 3.3871327179
        return q * top / (((67.187563600 * r + 78.757757664) * r + 17.895169469) * r + 1.0)
    r = sqrt(-log(min(p, 1.0 - p)))
    if r <= 5.0:
        r -= 1.6
        top = ((0.17023821103 * r + 1.3067284816) * r + 2.7568153900) * r + 1.4234372777
        x = top / ((0.12021132975 * r + 0.73700164250) * r + 1.0)
    else:
        r -= 5.0
        top = ((0.017337203997 * r + 0.42868294337) * r + 3.0812263860) * r + 6.6579051150
        x = top / ((0.012258202635 * r + 0.24197894225) * r + 1.0)
    return x if q > 0.0 else -x
