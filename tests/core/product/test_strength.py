"""Strength curves: starts, order and captions. Published values: tests/outside."""

from __future__ import annotations

import pytest

from controller.core.product.mix import Curve, Mix
from controller.core.product.strength import caption, strength_MPa


def mix(curve: Curve = "en1992", *, calibrated: bool = False) -> Mix:
    return Mix(
        name="test",
        cement_kg_per_m3=350.0,
        density_kg_per_m3=2300.0,
        strength_curve=curve,
        strength_28d_MPa=60.0,
        calibrated=calibrated,
    )


@pytest.mark.parametrize("curve", ["en1992", "exponential", "hyperbolic"])
def test_strength_starts_at_nothing_and_only_grows(curve: Curve) -> None:
    grown = [strength_MPa(mix(curve), age) for age in (0.0, 0.01, 1.0, 7.0, 24.0, 72.0, 672.0)]
    assert grown[0] == 0.0
    assert grown == sorted(grown)
    assert grown[-1] > 50.0


def test_each_curve_takes_its_own_parameters() -> None:
    """At 48 equivalent hours the defaults of the three curves are told apart."""
    assert strength_MPa(mix("en1992"), 672.0) == pytest.approx(60.0)
    assert strength_MPa(mix("exponential"), 48.0) == pytest.approx(33.213, abs=1e-3)
    assert strength_MPa(mix("hyperbolic"), 48.0) == pytest.approx(27.391, abs=1e-3)


def test_every_strength_says_that_it_is_an_estimate() -> None:
    assert caption(mix()) == "estimated, not tested; uncalibrated curve"
    assert caption(mix(calibrated=True)) == "estimated, not tested"
