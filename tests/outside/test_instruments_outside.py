"""Probes against what their standards print: PT100 resistance, current limits of a transmitter in order."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtri

from plantsim.kernel.instruments import (
    BURNOUT_uA,
    SATURATION_HI_uA,
    SATURATION_LO_uA,
    microamps,
    pt100_ohm,
)
from plantsim.kernel.noise import normal_quantile


@pytest.mark.outside(
    "published: IEC 60751, resistance table of the PT100, as a sensor maker reprints it (sensorsci.com), 0.01 ohm"
)
@pytest.mark.parametrize(
    ("t", "ohm"),
    [
        (-10, 96.09),
        (0, 100.00),
        (10, 103.90),
        (20, 107.79),
        (30, 111.67),
        (40, 115.54),
        (50, 119.40),
        (60, 123.24),
        (80, 130.90),
        (90, 134.71),
        (100, 138.51),
    ],
)
def test_pt100_resistance_is_that_of_the_table(t, ohm):
    assert pt100_ohm(float(t)) == pytest.approx(ohm, abs=0.0051)


@pytest.mark.outside(
    "published: NAMUR NE 43, as several makers summarise it: measuring 3.8..20.5 mA, failure <= 3.6 or >= 21 mA"
)
def test_transmitter_currents_keep_the_limits_of_ne_43():
    assert (SATURATION_LO_uA, SATURATION_HI_uA) == (3800.0, 20500.0)
    assert BURNOUT_uA <= 3600
    currents = [microamps(value, 0.0, 100.0) for value in np.linspace(-1000.0, 1000.0, 4001)]
    assert min(currents) == 3800
    assert max(currents) == 20500


@pytest.mark.outside("library: scipy.special.ndtri")
def test_the_normal_quantile_is_right_in_the_middle_and_in_both_tails():
    p = np.concatenate(
        [np.linspace(1e-6, 1.0 - 1e-6, 20_001), 10.0 ** -np.arange(2, 11), 1.0 - 10.0 ** -np.arange(2, 8)]
    )
    own = np.array([normal_quantile(x) for x in p])
    assert np.allclose(own, ndtri(p), rtol=2e-7, atol=2e-7)
