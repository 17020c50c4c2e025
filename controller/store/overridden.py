"""What people have overridden now, read from the record by whoever shows it: a page, a tool. Never on the scan."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from controller.store.reader import Reader


@dataclass(frozen=True, slots=True)
class Overridden:
    """One line of the register, or a lock (kind "lock-out", without an end). Times in UTC, ms."""

    kind: str
    tag: str
    value: float
    who: str
    role: str
    reason: str
    since_ms: int
    until_ms: int | None


def overridden(record: Reader) -> tuple[Overridden, ...]:
    """Locks first, then entries, oldest first; empty when there is nothing or nothing is known. Raises StoreError.

    Whatever changes here is journaled, and the checkpoint goes into the record with the journal: it is never older.
    """
    checkpoint = record.checkpoint()
    if checkpoint is None:
        return ()
    by_hand: dict[str, Any] = json.loads(checkpoint.state)[0].get("by_hand", {})

    def utc_ms(now_s: float) -> int:
        return checkpoint.utc_ms + round(1000.0 * (now_s - checkpoint.now_s))

    locks = [
        Overridden("lock-out", "", 0.0, one["who"], one["role"], one["reason"], utc_ms(one["since_s"]), None)
        for one in by_hand.get("locks", [])
    ]
    entries = [
        Overridden(
            one["kind"], one["tag"], one["value"], one["who"], one["role"], one["reason"], utc_ms(one["since_s"]),
            utc_ms(one["until_s"]),
        )
        for one in by_hand.get("entries", [])
    ]
    return (*locks, *entries)
