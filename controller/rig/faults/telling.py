"""Tells when a simulated fault begins and when it is over: in the record's journal, and to whoever looks on."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence

from controller.core.frames import Event
from plantsim.faults import Fault, amount_of, said

TAG = "SIMULATION"


class Teller:
    """Says what is due, scan by scan. note: takes what belongs in the journal; say: a line for people.

    A note handed over before a scan is kept with that scan. It is no part of the trace.
    """

    def __init__(
        self, faults: Sequence[Fault], dt_s: float, note: Callable[[Event], None], say: Callable[[str], None]
    ) -> None:
        self._note, self._say, self._dt_s = note, say, dt_s
        due: list[tuple[int, str, Fault]] = []
        for fault in faults:
            first, end = fault.scans(dt_s)
            due.append((first, "begins", fault))
            if end is not None:
                due.append((end, "is over", fault))
        self._due = deque(sorted(due, key=lambda one: one[0]))

    def before(self, scan: int) -> None:
        """Tell what begins or is over until the scan that comes next."""
        while self._due and self._due[0][0] <= scan:
            at, happens, fault = self._due.popleft()
            text = f"simulated fault {happens}: {told(fault)}"
            self._note(Event("note", TAG, text, (("fault", fault.kind), ("target", fault.target))))
            self._say(f"{_clock(at * self._dt_s)} {text}")


def _clock(time_s: float) -> str:
    """Time since the start: hours, minutes, seconds."""
    minutes, seconds = divmod(int(time_s), 60)
    return f"{minutes // 60}:{minutes % 60:02d}:{seconds:02d}"


def told(fault: Fault) -> str:
    """A fault in words."""
    return f"{fault.kind} {fault.target}".rstrip() + f", {said(fault.kind, amount_of(fault))}"
