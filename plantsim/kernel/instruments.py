"""Instruments: from what is true at a probe to the current that reaches the input card.

lag -> offset -> noise -> 4-20 mA -> saturation of the transmitter -> ADC, for all channels in one call.
"""

from __future__ import annotations

from math import exp, floor, isnan

import numpy as np
from numpy.typing import NDArray

from plantsim.kernel.jit import shared
from plantsim.kernel.noise import gaussian, step_key

LIVE_ZERO_uA = 4000.0
FULL_SCALE_uA = 20000.0
# NAMUR NE 43: a transmitter in order stays within 3.8..20.5 mA; 3.6 mA and below, 21 mA and above mean failure.
SATURATION_LO_uA = 3800.0
SATURATION_HI_uA = 20500.0
BURNOUT_uA = 3500  # what a transmitter sends that has lost its sensor, set to fail low
ADC_COUNT_uA = 20000.0 / 32768.0  # 15 bit over 0..20 mA: common practice of input cards, no source

# IEC 60751:2008, clause 5.2: Callendar - Van Dusen coefficients of an industrial platinum resistor.
_A, _B, _C = 3.9083e-3, -5.775e-7, -4.183e-12


@shared
def sense(
    values: NDArray[np.float64],
    state: NDArray[np.float64],
    lag_s: NDArray[np.float64],
    noise: NDArray[np.float64],
    offset: NDArray[np.float64],
    lo: NDArray[np.float64],
    hi: NDArray[np.float64],
    seed: int,
    step: int,
    dt: float,
    out_uA: NDArray[np.int64],
) -> None:
    """Read every channel once. All arrays have one entry a channel, values in the channel's own unit.

    values: the truth where the probe sits; NaN = the sensor is lost and the transmitter says so (fails low).
    state: what the lagged probe has got to, changed in place; NaN = not yet started, takes the truth at once.
    lag_s: first-order time constant, 0 = none (the exact step response, for any dt in s).
    noise: standard deviation; offset: constant error; lo, hi: values at 4 and 20 mA.
    out_uA: filled with microamps, 3800..20500, or 3500 for a lost sensor.
    """
    key = step_key(seed, step)
    lag, gain = 0.0, 1.0  # neighbours often share their lag: the exponential is taken only when it changes
    for i in range(values.size):
        value = values[i]
        if isnan(value):
            out_uA[i] = BURNOUT_uA
            continue
        if lag_s[i] != lag:
            lag = lag_s[i]
            gain = 1.0 - exp(-dt / lag) if lag > 0.0 else 1.0
        if isnan(state[i]):
            state[i] = value
        else:
            state[i] += (value - state[i]) * gain
        shown = state[i] + offset[i]
        if noise[i] > 0.0:
            shown += noise[i] * gaussian(key, i)
        out_uA[i] = microamps(shown, lo[i], hi[i])


@shared
def microamps(value: float, lo: float, hi: float) -> int:
    """Current of a transmitter with range lo..hi, saturated after NE 43, as the ADC counts it, in whole uA."""
    current = LIVE_ZERO_uA + (FULL_SCALE_uA - LIVE_ZERO_uA) * (value - lo) / (hi - lo)
    current = min(max(current, SATURATION_LO_uA), SATURATION_HI_uA)
    return floor(floor(current / ADC_COUNT_uA + 0.5) * ADC_COUNT_uA + 0.5)


@shared
def pt100_ohm(temperature_degC: float) -> float:
    """Resistance of a PT100 after IEC 60751, ohm, -200..850 degC."""
    t = temperature_degC
    ratio = 1.0 + (_A + _B * t) * t
    if t < 0.0:
        ratio += _C * (t - 100.0) * t * t * t
    return 100.0 * ratio
