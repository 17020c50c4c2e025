"""When something happens in a chamber that is not a step of physics: moves that are due, and waiting that ends."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, inf

from plantsim.filling import Filling, Move, in_order

NEVER = 1 << 62  # a step that no chamber lives to see


class Agenda:
    """Moves still to be made. due: the first step before which something has to be done; NEVER when nothing has."""

    def __init__(self, moves: Iterable[Move], dt_s: float) -> None:
        self._dt_s = dt_s
        self._left = list(reversed(in_order(moves)))
        self.due = NEVER
        self.wake(inf)

    @property
    def left(self) -> Filling:
        """The moves still to be made, in order."""
        return tuple(reversed(self._left))

    def take_due(self, number: int) -> list[Move]:
        """The moves to be made before this step, which the agenda forgets."""
        found = []
        while self._left and self._step_of(self._left[-1].time_s) <= number:
            found.append(self._left.pop())
        return found

    def wake(self, time_s: float) -> None:
        """Something has to be done at this time too (inf: nothing). Replaces what was said before."""
        times = [time_s, *(move.time_s for move in self._left[-1:])]
        self.due = min((self._step_of(time) for time in times if time < inf), default=NEVER)

    def _step_of(self, time_s: float) -> int:
        """The first step that begins at this time or later."""
        return ceil(time_s / self._dt_s - 1e-9)
