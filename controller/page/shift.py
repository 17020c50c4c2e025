"""What the next shift wants to know: what happened since somebody left, who was told, what is due, how busy it was."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from controller.callout.outbox import OUTBOX, letters_of
from controller.core.alarms.figures import Occurrence, figures
from controller.page.live.places import ChamberPlace
from controller.page.people.accounts import now_ms
from controller.page.people.book import Book
from controller.report.summary import alarms_of
from controller.store.glance import Glance
from controller.store.reader import JournalRow, Reader
from controller.store.upkeep import due_list

DAY_MS = 86_400_000
LINES_MAX = 400
# What the next shift wants to know; link trouble and constraints are in the journal for those who look.
KINDS = ("state", "phase", "alarm", "trip", "command", "reset", "note", "by-hand", "duty", "invariant")
TOLD_MAX = 100


def since(record: Path, book: Book, who: str, chamber: str) -> tuple[int, int | None, list[JournalRow]]:
    """(line, UTC ms, newer lines newest first) for somebody who left at that line; the last 12 hours for a newcomer."""
    rows = book.rows("SELECT line, utc_ms FROM left_at WHERE name = ? AND chamber = ?", who, chamber)
    glance = Glance(record)
    try:
        if rows:
            line, utc_ms = rows[0]
            return line, utc_ms, glance.lines(after=line, kinds=KINDS, limit=LINES_MAX)
        newest = glance.lines(limit=1)
        from_ms = newest[0].utc_ms - DAY_MS // 2 if newest else 0
        return 0, None, glance.lines(since_ms=from_ms, kinds=KINDS, limit=LINES_MAX)
    finally:
        glance.close()


def left_ms(book: Book, who: str, chamber: str) -> int:
    """When somebody said that they had seen everything, by the computer's clock; twelve hours ago for a newcomer."""
    rows = book.rows("SELECT utc_ms FROM left_at WHERE name = ? AND chamber = ?", who, chamber)
    return int(rows[0][0]) if rows else now_ms() - DAY_MS // 2


def leave(record: Path, book: Book, who: str, chamber: str) -> int:
    """Somebody has seen everything up to now; returns the line."""
    glance = Glance(record)
    try:
        line = glance.last_id()
    finally:
        glance.close()
    with book.writing() as db:
        db.execute("INSERT OR REPLACE INTO left_at VALUES (?, ?, ?, ?)", (who, chamber, line, now_ms()))
    return line


def told(place: ChamberPlace, name: str, since_ms: int) -> list[dict[str, Any]]:
    """Whom the call-out told of this chamber since then, newest first, and what became of it. name: of the chamber.

    Its file lies beside the record, or in the folder of all chambers. Raises StoreError when it cannot be read.
    """
    names = {name, place.folder.name}
    letters = [one for folder in (place.folder, place.folder.parent) for one in letters_of(folder / OUTBOX, since_ms)]
    ours = [one for one in letters if any(key.chamber in names for key in one.about)]
    return [
        {
            "utc_ms": one.done_ms or one.made_ms, "kind": one.kind, "person": one.person, "channel": one.channel,
            "about": sorted({key.tag for key in one.about if key.chamber in names}), "state": one.state,
            "said": one.said,
        }
        for one in sorted(ours, key=lambda one: -one.made_ms)[:TOLD_MAX]
    ]  # fmt: skip


def duties(record: Path) -> list[dict[str, Any]]:
    """What people have to do from time to time, the most urgent first, and when it was done last.

    Raises StoreError, and ConfigError for a record of another version.
    """
    with Reader(record) as reader:
        found = due_list(reader)
    return [
        {
            "item": one.item.tag, "text": one.item.text, "action": one.item.action, "kind": one.item.kind,
            "due": one.is_due, "overdue": one.overdue, "due_ms": one.due_ms, "done_ms": one.done_ms, "who": one.who,
            "note": one.note,
        }
        for one in found
    ]  # fmt: skip


def alarm_figures(record: Path, days: int) -> dict[str, Any]:
    """How busy the alarms kept people over the last days of the record."""
    glance = Glance(record)
    try:
        newest = glance.lines(limit=1)
        if not newest:
            return {"days": days, "alarms": 0}
        to_ms = newest[0].utc_ms + 1
        from_ms = to_ms - days * DAY_MS
        rows = glance.lines(kinds=("alarm",), since_ms=from_ms, limit=50_000)[::-1]
    finally:
        glance.close()
    span_s = 1e-3 * (to_ms - from_ms)
    came = [
        Occurrence(one["tag"], one["priority"], one["from_s"], one["to_s"])
        for one in alarms_of(rows, from_ms, span_s)
    ]  # fmt: skip
    found = figures(came, 0.0, span_s)
    return {
        "days": days, "alarms": found.alarms, "per_10_min": round(found.per_10_min, 4),
        "most_in_10_min": found.most_in_10_min, "busy_pct": round(found.busy_pct, 2),
        "flood_pct": round(found.flood_pct, 2), "top": [list(pair) for pair in found.top[:10]],
        "chattering": list(found.chattering), "stale": list(found.stale),
        "priority_pct": [round(share, 1) for share in found.priority_pct],
    }  # fmt: skip
