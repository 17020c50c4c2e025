"""What several parts of the packing share."""

from __future__ import annotations

from math import exp


def gain(lag_s: float, dt: float) -> float:
    """Part of the way that a first-order lag goes in a step."""
    return 1.0 - exp(-dt / lag_s)
