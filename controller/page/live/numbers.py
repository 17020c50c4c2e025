"""Numbers on their way into JSON, which knows neither NaN nor more digits than anybody reads."""

from __future__ import annotations

from math import isfinite


def clean(value: float, digits: int) -> float | None:
    """Rounded; None for what is no number."""
    return round(value, digits) if isfinite(value) else None
