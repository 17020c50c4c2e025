"""One fault as data: what, where, when, for how long, how much."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Ge, Gt, Le, MaxLen

YEAR_S = 3.2e7


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """kind: a name of plantsim.faults.kinds.KINDS. target: a tag, an actuator, a bay or a word, as the kind needs it.

    start_s: after the start of the simulation; length_s: None = to the end. amount: in the unit of the kind, None =
    its usual one.
    """

    kind: Annotated[str, MaxLen(40)]
    target: Annotated[str, MaxLen(40)] = ""
    start_s: Annotated[float, Ge(0), Le(YEAR_S)] = 0.0
    length_s: Annotated[float, Gt(0), Le(YEAR_S)] | None = None
    amount: Annotated[float, Ge(-1e6), Le(1e6)] | None = None

    @property
    def end_s(self) -> float:
        """When it is over; inf for one without an end."""
        return float("inf") if self.length_s is None else self.start_s + self.length_s

    def scans(self, dt_s: float) -> tuple[int, int | None]:
        """(first scan, one past the last) that it lives in, counted from 0; None = to the end. At least one scan."""
        first = _scan(self.start_s, dt_s)
        return first, None if self.length_s is None else max(first + 1, _scan(self.end_s, dt_s))


def _scan(time_s: float, dt_s: float) -> int:
    """First scan that begins at or after a time."""
    return -int(-(time_s / dt_s) // 1)
