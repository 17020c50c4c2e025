"""Hours and starts of drives, and what is due, read from the record by whoever shows it. Never on the scan."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from controller.config.chamber import ChamberFile
from controller.config.loader import parse
from controller.core.upkeep.duty import DutyItem
from controller.store.reader import Reader

_DAY_MS = 86_400_000


@dataclass(frozen=True, slots=True)
class DriveHours:
    """on: is it on now. hours, starts: since the record began."""

    tag: str
    on: bool
    hours: float
    starts: int


@dataclass(frozen=True, slots=True)
class Due:
    """One item of the chamber file. due_ms: since when it is due, or, by the calendar, when it will be; None = not due
    and no day known. Times in UTC, ms. done_ms, who, role, note: of the last time it was done, None and "" for never.
    """

    item: DutyItem
    is_due: bool
    overdue: bool
    due_ms: int | None
    done_ms: int | None
    who: str
    role: str
    note: str


def drive_hours(record: Reader) -> tuple[DriveHours, ...]:
    """Every drive of [wear], at the last checkpoint. Raises StoreError."""
    now_s, _utc_ms, state = _upkeep(record)
    wear = state.get("wear", {})
    since_s = wear.get("since_s", 0.0)
    return tuple(
        DriveHours(
            drive["tag"], on, (drive["on_s"] + (max(0.0, now_s - since_s) if on else 0.0)) / 3600.0, drive["starts"]
        )
        for drive, on in zip(
            wear.get("drives", []), [*wear.get("contacts", []), *wear.get("outputs", [])], strict=True
        )
    )


def due_list(record: Reader) -> tuple[Due, ...]:
    """Every item of the chamber file in the record: overdue ones first, then those due, then the rest by their day.

    Raises StoreError and ConfigError.
    """
    now_s, utc_ms, state = _upkeep(record)
    chamber = parse(record.header().texts["chamber"].encode(), ChamberFile, "chamber file in the record").value
    duty = state.get("duty", {})
    since = dict(duty.get("due", []))
    done = {one["tag"]: one for one in duty.get("done", [])}
    epoch_s = duty.get("epoch_s")
    found = []
    for item in chamber.duty:
        last = done.get(item.tag)
        done_ms = None if last is None else utc_ms + round(1000.0 * (last["at_s"] - now_s))
        due_ms = None
        if item.tag in since:
            due_ms = utc_ms + round(1000.0 * (since[item.tag] - now_s))
        elif item.every_days is not None:
            from_ms = done_ms if done_ms is not None else _from_ms(item, utc_ms, now_s, epoch_s)
            due_ms = from_ms + round(item.every_days * _DAY_MS)
        said = last or {"who": "", "role": "", "note": ""}
        found.append(
            Due(
                item, item.tag in since, item.tag in duty.get("overdue", []), due_ms, done_ms, said["who"],
                said["role"], said["note"],
            )
        )
    return tuple(sorted(found, key=lambda one: (not one.overdue, not one.is_due, one.due_ms or 2**62)))


def _from_ms(item: DutyItem, utc_ms: int, now_s: float, epoch_s: float | None) -> int:
    """From when an item counts that was never done in this record: `last`, or the beginning of the record."""
    if item.last and epoch_s is not None:
        return round(1000.0 * datetime.fromisoformat(item.last).replace(tzinfo=UTC).timestamp())
    return utc_ms - round(1000.0 * now_s)


def _upkeep(record: Reader) -> tuple[float, int, dict[str, Any]]:
    """(time since the record began, UTC, state) of the last checkpoint; an empty state when there is none."""
    checkpoint = record.checkpoint()
    if checkpoint is None:
        return 0.0, 0, {}
    return checkpoint.now_s, checkpoint.utc_ms, json.loads(checkpoint.state)[0].get("upkeep", {})
