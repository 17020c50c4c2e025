"""Compressive strength against equivalent age. A curve is an estimate: it replaces no test specimen."""

from __future__ import annotations

from math import exp, sqrt

from controller.core.product.mix import Mix

ESTIMATED = "estimated, not tested"


def strength_MPa(mix: Mix, age_h: float) -> float:
    """Strength by the mix's own curve at an equivalent age in hours; 0 before it starts."""
    if mix.strength_curve == "en1992":
        return mix.strength_28d_MPa * eurocode_share(age_h / 24.0, mix.strength_s)
    if mix.strength_curve == "exponential":
        return exponential_MPa(age_h, mix.strength_ultimate_MPa, mix.strength_tau_h, mix.strength_exponent)
    return hyperbolic_MPa(age_h, mix.strength_ultimate_MPa, mix.strength_rate_per_h, mix.strength_start_h)


def caption(mix: Mix) -> str:
    """What must stand beside every strength of this mix."""
    return ESTIMATED if mix.calibrated else f"{ESTIMATED}; uncalibrated curve"


def eurocode_share(age_d: float, s: float) -> float:
    """Share of the 28-day strength: exp(s (1 - sqrt(28/t))), EN 1992-1-1:2004 equation 3.2; t in days at 20 degC.

    s = 0.20 for cement of class R, 0.25 for N, 0.38 for S. Below three days it extrapolates the standard.
    """
    return exp(s * (1.0 - sqrt(28.0 / age_d))) if age_d > 0.0 else 0.0


def hyperbolic_MPa(age_h: float, ultimate_MPa: float, rate_per_h: float, start_h: float) -> float:
    """Su k (t - t0) / (1 + k (t - t0)), 0 before t0 (ASTM C1074, appendix; from memory)."""
    grown = rate_per_h * (age_h - start_h)
    return ultimate_MPa * grown / (1.0 + grown) if grown > 0.0 else 0.0


def exponential_MPa(age_h: float, ultimate_MPa: float, tau_h: float, exponent: float) -> float:
    """Su exp(-(tau/t)^a) (Freiesleben Hansen and Pedersen; from memory)."""
    return float(ultimate_MPa * exp(-((tau_h / age_h) ** exponent))) if age_h > 0.0 else 0.0
