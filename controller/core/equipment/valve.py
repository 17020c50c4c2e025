"""The installed characteristic of an equal-percentage valve or damper, and its inverse.

Inherent: kv(x) = R^(x - 1), R the rangeability. Installed in a circuit in which the open valve takes the share N (its
authority) of the pressure drop: flow(x) = 1 / sqrt(1 + N (1/kv^2 - 1)). Both follow from the definitions of
equal-percentage valve and authority and from pressure drops that go with the square of the flow.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from math import exp, log, sqrt


@dataclass(frozen=True, slots=True)
class Characteristic:
    """rangeability R > 1, authority 0 < N <= 1. steepness: ln R."""

    rangeability: float
    authority: float
    steepness: float = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "steepness", log(self.rangeability))

    def flow(self, opening: float) -> float:
        """Share of the full flow, 0..1, at an opening 0..1; at 0 the valve is shut, not at its 1/R."""
        if opening <= 0.0:
            return 0.0
        if opening >= 1.0:
            return 1.0
        kv_2 = exp(2.0 * self.steepness * (opening - 1.0))
        return 1.0 / sqrt(1.0 + self.authority * (1.0 / kv_2 - 1.0))

    def opening(self, flow: float) -> float:
        """The opening, 0..1, that gives a share of the full flow; 0 for what lies below the valve's 1/R."""
        if flow >= 1.0:
            return 1.0
        if not flow > 0.0:
            return 0.0
        kv_2 = 1.0 / (1.0 + (1.0 / (flow * flow) - 1.0) / self.authority)
        opening = 1.0 + 0.5 * log(kv_2) / self.steepness
        return opening if opening > 0.0 else 0.0


def share_at_pct(characteristic: Characteristic) -> Callable[[float], float]:
    """Share of the full flow at a position in percent. Remembered, which changes no result: a valve mostly stands."""
    return lru_cache(maxsize=32)(lambda position_pct: characteristic.flow(0.01 * position_pct))
