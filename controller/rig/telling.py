"""Tells when a simulated fault begins and when it is over: in the record's journal, and to whoever looks on."""

from __future__ import annotations

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
        self._due: dict[int, list[tuple[str, Fault]]] = {}
        for fault in faults:
            first, end = fault.scans(dt_s)
            self._due.setdefault(first, []).append(("begins", fault))
            if end is not None:
                self._due.setdefault(end, []).append(("is over", fault))

    def before(self, scan: int) -> None:
        """Tell what begins or is over in a scan that comes next."""
        for happens, fault in self._due.pop(scan, ()):
            text = f"simulated fault {happens}: {told(fault)}"
            self._note(Event("note", TAG, text, (("fault", fault.kind), ("target", fault.target))))
            self._say(f"{scan * self._dt_s / 3600.0:.2f} h: {text}")


def told(fault: Fault) -> str:
    """A fault in words."""
    return f"{fault.kind} {fault.target}".rstrip() + f", {said(fault.kind, amount_of(fault))}"
