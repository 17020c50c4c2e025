"""Installed equal-percentage characteristic and its inverse."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.equipment.valve import Characteristic


@pytest.mark.parametrize(("opening", "kv"), [(0.25, 0.0532), (0.5, 0.1414), (0.75, 0.3761)])
def test_inherent_characteristic_is_equal_percentage(opening: float, kv: float) -> None:
    """With full authority the installed flow is the inherent one, R^(x-1); values recomputed by hand, R = 50."""
    assert Characteristic(50.0, 1.0).flow(opening) == pytest.approx(kv, abs=5e-5)


@pytest.mark.parametrize(("opening", "flow"), [(0.25, 0.0751), (0.5, 0.1980), (0.75, 0.4978)])
def test_authority_lifts_the_characteristic(opening: float, flow: float) -> None:
    """1/sqrt(1 + N (1/kv^2 - 1)), N = 0.5; values recomputed by hand."""
    assert Characteristic(50.0, 0.5).flow(opening) == pytest.approx(flow, abs=5e-5)


def test_shut_and_open_are_exact() -> None:
    valve = Characteristic(50.0, 0.5)
    assert (valve.flow(0.0), valve.opening(0.0)) == (0.0, 0.0)
    assert (valve.flow(1.0), valve.opening(1.0)) == (1.0, 1.0)
    assert valve.opening(1.7) == 1.0


@pytest.mark.parametrize("flow", [-1.0, math.nan, 0.001])
def test_what_the_valve_cannot_throttle_to_is_shut(flow: float) -> None:
    assert Characteristic(50.0, 0.5).opening(flow) == 0.0


@given(
    opening=st.floats(0.01, 1.0), rangeability=st.floats(5.0, 100.0), authority=st.floats(0.05, 1.0)
)
def test_opening_inverts_flow(opening: float, rangeability: float, authority: float) -> None:
    valve = Characteristic(rangeability, authority)
    assert valve.opening(valve.flow(opening)) == pytest.approx(opening, abs=1e-9)
