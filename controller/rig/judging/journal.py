"""What must be true of the journal of a run: no scan missing, late scans told, no alarm sooner again than it may."""

from __future__ import annotations

from collections.abc import Sequence

from controller.core.frames import Event
from controller.core.rows.alarms import AlarmRow
from controller.rig.judging.judge import Violation


def judged(
    events: Sequence[tuple[int, Event]], gaps: Sequence[int], overruns: int, rows: Sequence[AlarmRow], dt_s: float
) -> Violation | None:
    """The first thing that does not hold in (scan, event) of a run; gaps: scans before which one is missing."""
    if gaps:
        return Violation(gaps[0], "journal", f"{len(gaps)} gaps, the first before scan {gaps[0]}")
    if overruns and not any(event.tag in ("SCAN", "scan-late") for _scan, event in events):
        return Violation(events[-1][0] if events else 0, "overrun", f"{overruns} late scans")
    return _chatter(events, rows, dt_s)


def _chatter(events: Sequence[tuple[int, Event]], rows: Sequence[AlarmRow], dt_s: float) -> Violation | None:
    """An alarm goes off_s after its cause and comes on_s after it: it cannot come again within both together."""
    least_s = {row.tag: row.on_s + row.off_s for row in rows}
    came: dict[str, int] = {}
    for scan, event in events:
        if event.kind != "alarm" or ("what", "comes") not in event.data:
            continue
        before = came.get(event.tag)
        if before is not None and (scan - before + 2) * dt_s < least_s.get(event.tag, 0.0):
            return Violation(scan, "alarm-chatters", f"{event.tag} after {(scan - before) * dt_s:g} s")
        came[event.tag] = scan
    return None
