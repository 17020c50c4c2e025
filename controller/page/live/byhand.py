"""What people have overridden now, and what they could: where a chamber keeps such a register.

A record of a version without one has nothing here.
"""

from __future__ import annotations

from typing import Any

from controller.core.scan import ScanPlan, ScanState
from controller.store.writer import Checkpoint


def overridden(state: ScanState, checkpoint: Checkpoint) -> list[dict[str, Any]]:
    """Every entry and every lock, oldest first. until_ms: None for a lock, which has no end of its own."""
    register = getattr(state, "by_hand", None)
    if register is None:
        return []

    def at_ms(at_s: float) -> int:
        return checkpoint.utc_ms + round(1000.0 * (at_s - checkpoint.now_s))

    entries = [
        {
            "kind": one.kind, "tag": one.tag, "value": one.value, "who": one.who, "reason": one.reason,
            "since_ms": at_ms(one.since_s), "until_ms": at_ms(one.until_s),
        }
        for one in register.entries
    ]  # fmt: skip
    locks = [
        {
            "kind": "lock-out", "tag": one.who, "value": None, "who": one.who, "reason": one.reason,
            "since_ms": at_ms(one.since_s), "until_ms": None,
        }
        for one in register.locks
    ]  # fmt: skip
    return entries + locks


def choices(plan: ScanPlan) -> dict[str, Any] | None:
    """What may be overridden: rows to bypass, ranges of loops and trims, points to force; None without a register."""
    by_hand = getattr(plan, "by_hand", None)
    if by_hand is None:
        return None
    points = by_hand.points
    ranges = {
        "manual": points.loops, "trim": points.trims,
        "force": {**points.analog, **points.discrete},
        "simulate": {**points.readings, **points.contacts},
    }  # fmt: skip
    return {
        "bypass": dict.fromkeys(points.rows),
        **{kind: {tag: [one.lo, one.hi] for tag, one in table.items()} for kind, table in ranges.items()},
        "hours_max": by_hand.config.hours_max,
    }
