"""Siblings: several probes of one quantity. Median, robust mean, who disagrees. NaN never takes part."""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan, nan


def median(values: Sequence[float]) -> float:
    """Median of the values that are numbers; NaN when there is none."""
    known = sorted([value for value in values if value == value])
    if not known:
        return nan
    middle = len(known) // 2
    if len(known) % 2:
        return known[middle]
    return 0.5 * (known[middle - 1] + known[middle])


def wetter(vapour_Pa: Sequence[float]) -> float:
    """Median of vapour pressures; of only two the higher one.

    Two that differ outvote nobody, and what believes in too little moisture wets boards. NaN when there is none.
    """
    known = [value for value in vapour_Pa if value == value]
    return max(known) if len(known) == 2 else median(known)


def disagreeing(values: Sequence[float], limit: float) -> tuple[int, ...]:
    """Indexes of values farther than `limit` from the median of all.

    Two probes that differ outvote nobody: both disagree when they are more than twice the limit apart.
    """
    centre = median(values)
    return tuple([i for i, value in enumerate(values) if abs(value - centre) > limit])


def agreeing(values: Sequence[float], limit: float) -> tuple[int, ...]:
    """Indexes of values within `limit` of the median of all; NaN never agrees."""
    centre = median(values)
    return tuple([i for i, value in enumerate(values) if abs(value - centre) <= limit])


def robust_mean(values: Sequence[float], weights: Sequence[float], chosen: Sequence[int]) -> float:
    """Weighted mean of the values that agree with the median (their indexes, see agreeing); NaN when none does.

    When the agreeing ones weigh nothing (all in empty bays) their plain mean is taken.
    """
    if not chosen:
        return nan
    weight = sum([weights[i] for i in chosen])
    if weight > 0.0:
        return sum([weights[i] * values[i] for i in chosen]) / weight
    return sum([values[i] for i in chosen]) / len(chosen)


def least(values: Sequence[float]) -> float:
    """Smallest number; NaN when there is none."""
    return min([value for value in values if not isnan(value)], default=nan)
