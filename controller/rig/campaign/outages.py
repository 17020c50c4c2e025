"""A controller that is gone for a while in the middle of a run, and comes back as the runtime brings it back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from controller.core.scan import ScanState
from controller.rig.campaign.swarm import Outage
from controller.runtime.loop import Start
from controller.runtime.restart import after_outage
from controller.runtime.resume import aged, going_on
from controller.runtime.session import CODEC, Session
from plantsim.faults import Fault


def over(session: Session, outage: Outage, state: ScanState, began_s: float, scan_s: float) -> Start:
    """Where the next controller begins: with what a checkpoint holds of the state. began_s: time of the run's begin.

    The device has lived on meanwhile; a controller that said goodbye has let it live one scan with that already.
    """
    gone, missed = _scans(outage, scan_s)
    last_ms, now_ms = round(1000.0 * (gone - 1) * scan_s), round(1000.0 * (gone + missed) * scan_s)
    kept = CODEC.load(CODEC.dump(state))
    resumed = after_outage(kept, gone + missed, began_s + (gone - 1) * scan_s, last_ms, now_ms)
    start = going_on(session, resumed, aged(kept, resumed.unseen_s), now_ms)
    return replace(start, skipped_scans=missed if outage.crashed else missed - 1)


def on_the_wire(faults: Sequence[Fault], outage: Outage | None, scan_s: float) -> list[Fault]:
    """Faults as a link that counts frames has to know them: an outage has none but the first read after it. What would
    act right at its end is left out: a controller begins only where it is heard."""
    if outage is None:
        return list(faults)
    gone, missed = _scans(outage, scan_s)
    end_s = scan_s * (gone + missed + 2)
    before = [fault for fault in faults if fault.end_s <= outage.start_s]
    fewer_s = scan_s * (missed - 1)
    after = [replace(fault, start_s=fault.start_s - fewer_s) for fault in faults if fault.start_s >= end_s]
    return before + after


def _scans(outage: Outage, scan_s: float) -> tuple[int, int]:
    return round(outage.start_s / scan_s), round(outage.length_s / scan_s)


def as_faults(outage: Outage | None) -> list[Fault]:
    """As a judge has to see it: for so long the chamber was not looked after."""
    return [] if outage is None else [Fault(kind="power-dip", start_s=outage.start_s, length_s=outage.length_s)]
