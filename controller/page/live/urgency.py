"""What a chamber needs of people, and by when: one word, one time, from its alarms."""

from __future__ import annotations

from typing import Any

from controller.core.alarms.alarms import ActiveAlarm, AlarmsConfig
from controller.core.rows.alarms import ALARMS
from controller.store.writer import Checkpoint

USUAL = {row.tag: row for row in ALARMS}  # whose words the page has in other languages; a heater may have its own
_LEVELS = {"high": "act", "medium": "look", "low": "note"}
_RANK = ("well", "note", "look", "act")


def alarm_line(one: ActiveAlarm, checkpoint: Checkpoint, config: AlarmsConfig) -> dict[str, Any]:
    """One alarm as plain data. state: N, U, A, R or L as in the core; by_ms: when somebody should have seen to it, as
    the chamber file says."""
    came_ms = checkpoint.utc_ms - round(1000.0 * (checkpoint.now_s - one.from_s))
    row = one.row
    return {
        "tag": row.tag, "text": row.text, "priority": row.priority, "state": one.state, "from_ms": came_ms,
        "by_ms": came_ms + round(60_000 * config.minutes_to_respond(row.tag, row.priority)), "hidden": one.hidden,
        "latch": row.latch, "usual": USUAL.get(row.tag) == row, "cause": row.cause,
        "consequence": row.consequence, "action": row.action,
    }  # fmt: skip


def call(alarms: list[dict[str, Any]], state: str) -> dict[str, Any]:
    """The one word for a chamber: well, note, look, act; what about (tag and text), by when, whether that is over,
    how many unacknowledged.

    A stopped clock or a cycle broken off asks for a look even where no alarm says so yet; one that was ended leaves a
    note until it is cleared.
    """
    shown = [one for one in alarms if not one["hidden"]]
    level, about, by_ms = "well", "", None
    texts = {one["tag"]: one["text"] for one in shown}
    states = {one["tag"]: one["state"] for one in shown}
    for one in shown:
        its = _LEVELS[one["priority"]] if one["state"] in ("U", "A") else "note"
        by = one["by_ms"] if one["state"] in ("U", "A") else None
        if _RANK.index(its) > _RANK.index(level):
            level, about, by_ms = its, one["tag"], by
        elif its == level and by is not None and (by_ms is None or by < by_ms):
            about, by_ms = one["tag"], by
    if state in ("held", "aborted") and level in ("well", "note"):
        level, about = "look", state
    if state == "stopped" and level == "well":
        level, about = "note", state  # whoever comes next sees no cycle, and perhaps product that nothing looks after
    return {
        "level": level, "about": about, "text": texts.get(about, ""), "by_ms": by_ms,
        "gone": states.get(about) == "R", "rank": _RANK.index(level),
        "unacked": sum(1 for one in shown if one["state"] in ("U", "R")),
        "hidden": len(alarms) - len(shown),
    }  # fmt: skip
