"""Rows of a table added up."""

from __future__ import annotations

from plantsim.kernel.jit import total
from plantsim.kernel.layout import Floats


@total
def added(x: Floats) -> float:
    """Sum of all entries."""
    found = 0.0
    for i in range(x.size):
        found += x[i]
    return found


@total
def added_up(x: Floats) -> float:
    """Sum of the entries above 0."""
    found = 0.0
    for i in range(x.size):
        found += x[i] if x[i] > 0.0 else 0.0
    return found


@total
def added_amounts(x: Floats) -> float:
    """Sum of all entries, whichever way they go."""
    found = 0.0
    for i in range(x.size):
        found += abs(x[i])
    return found
