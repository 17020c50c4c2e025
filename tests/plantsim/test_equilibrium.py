"""Air with fog: all cells found together are what each is by itself."""

from __future__ import annotations

import numpy as np
import pytest
from numba import njit

from plantsim.kernel import layout as at
from plantsim.kernel.equilibrium import settle_air
from plantsim.kernel.moistair import enthalpy, flash, relative_humidity, saturated_W

P, M, N = 101325.0, 10.2, 40


@njit
def settle(k: at.Floats, air: at.Floats, work: at.Floats) -> bool:
    return settle_air(k, air, work)


def found(water_over_saturation: np.ndarray, guess_K: float) -> tuple[bool, at.Floats]:
    """Cells from 5 to 45 degC, some with fog; the temperatures of the step before are off by guess_K."""
    k, air, work = np.zeros(at.SCALARS), np.zeros((at.AIR_ROWS, N)), np.full((at.WORK_ROWS, N + 6), np.nan)
    k[at.K_PRESSURE], k[at.K_AIR_KG] = P, M
    for i, t in enumerate(np.linspace(5.0, 45.0, N)):
        water = saturated_W(t, P) * water_over_saturation[i]
        W = min(water, saturated_W(t, P))
        air[at.AIR_H, i], air[at.AIR_WATER, i] = M * enthalpy(t, W, water - W), M * water
        air[at.AIR_T, i] = t + guess_K
    return settle(k, air, work), air


@pytest.mark.parametrize("guess_K", [0.0, 0.01, -0.01, 0.5, -0.5, 20.0, -20.0])
def test_fog_of_all_cells_together_is_that_of_each_cell(guess_K: float):
    over = np.where(np.arange(N) % 3 == 0, 0.9, 1.0 + 0.002 * np.arange(N))
    foggy, air = found(over, guess_K)
    assert foggy
    for i in range(N):
        T, W, fog = flash(air[at.AIR_H, i] / M, air[at.AIR_WATER, i] / M, P)
        assert air[at.AIR_T, i] == pytest.approx(T, abs=1e-9)
        assert air[at.AIR_W, i] == pytest.approx(W, rel=1e-11)
        assert air[at.AIR_FOG, i] == pytest.approx(fog, abs=1e-12)
        assert air[at.AIR_RH, i] == pytest.approx(min(relative_humidity(T, W, P), 1.0), rel=1e-9)
        # nothing is lost on the way
        h = enthalpy(air[at.AIR_T, i], air[at.AIR_W, i], air[at.AIR_FOG, i])
        assert h == pytest.approx(air[at.AIR_H, i] / M, rel=1e-14)
        assert air[at.AIR_W, i] + air[at.AIR_FOG, i] == pytest.approx(air[at.AIR_WATER, i] / M, rel=1e-15)


def test_without_fog_nothing_is_searched():
    foggy, air = found(np.full(N, 0.97), 3.0)
    assert not foggy
    assert (air[at.AIR_FOG] == 0.0).all()
    assert air[at.AIR_T] == pytest.approx(np.linspace(5.0, 45.0, N), abs=1e-11)
    assert air[at.AIR_RH].max() < 1.0
