"""What several parts of the packing share."""

from __future__ import annotations

from math import exp

from plantsim.kernel import layout as at

# Codes of the kernel for where a drive goes without power.
FAILS = {"shut": at.SHUT, "stay": at.STAY, "open": at.OPEN}


class MisfitError(ValueError):
    """Parameters that do not fit each other: which field, what stands there, what is allowed, how to mend it."""

    def __init__(self, field: str, value: object, limit: str, remedy: str) -> None:
        self.field, self.value, self.limit, self.remedy = field, str(value), limit, remedy
        super().__init__(f"{field} = {value}: {limit}; {remedy}")


def gain(lag_s: float, dt: float) -> float:
    """Part of the way that a first-order lag goes in a step."""
    return 1.0 - exp(-dt / lag_s)
