"""What the runtime tells of itself as alarms: late scans, a record that cannot be written, an invariant that broke.

Each is an order with the verb "trouble", so the alarms of the core treat it like any other alarm and the record shows
in which scan it was told.
"""

from __future__ import annotations

from collections import deque

from controller.core.frames import Command, Event
from controller.core.orders.verbs import RUNTIME, TROUBLE

LATE, RECORD, FAULT = "scan-late", "record-failing", "program-fault"
QUIET_SCANS = 60  # so long after the last late scan, or the last broken invariant, it is over
LATE_COUNT = 3  # late scans within QUIET_SCANS; a single one happens on any computer. Our choice


class OwnTroubles:
    """Turns what happens in the loop into orders for the next scan."""

    def __init__(self) -> None:
        self._late: deque[int] = deque(maxlen=LATE_COUNT)
        self._broken = -QUIET_SCANS
        self._active: set[str] = set()
        self._orders: list[Command] = []
        self.waiting = False  # is there anything to be told or taken back? False in nearly every scan

    def late(self, scan: int, late_scans: float) -> None:
        """This scan overran or began late, by so many scans."""
        self._late.extend([scan] * min(LATE_COUNT, max(1, int(late_scans))))
        if len(self._late) == LATE_COUNT and scan - self._late[0] < QUIET_SCANS:
            self._tell(scan, LATE, True)

    def broken(self, scan: int) -> None:
        """An invariant does not hold in this scan."""
        self._broken = scan
        self._tell(scan, FAULT, True)

    def noticed(self, scan: int, notice: Event) -> None:
        """The recorder had something to say."""
        active = dict(notice.data).get("active")
        if notice.tag == "RECORD" and isinstance(active, bool):
            self._tell(scan, RECORD, active)

    def due(self, scan: int) -> tuple[Command, ...]:
        """Orders for this scan; what has been quiet for long enough is taken back."""
        if LATE in self._active and scan - self._late[-1] >= QUIET_SCANS:
            self._tell(scan, LATE, False)
        if FAULT in self._active and scan - self._broken >= QUIET_SCANS:
            self._tell(scan, FAULT, False)
        orders = tuple(self._orders)
        self._orders.clear()
        self.waiting = bool(self._active)
        return orders

    def _tell(self, scan: int, tag: str, active: bool) -> None:
        if (tag in self._active) is active:
            return
        (self._active.add if active else self._active.discard)(tag)
        self.waiting = True
        self._orders.append(
            Command(f"{tag}-{scan}-{active:d}", TROUBLE, RUNTIME, (("active", active), ("tag", tag)))
        )
