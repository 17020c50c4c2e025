"""What people had overridden during a cycle, from its journal: entries of the register and locks, each with its end."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from controller.core.hand.register import COUNTED
from controller.core.orders.verbs import LOCK_OUT
from controller.store.reader import JournalRow

_TOLD = ("kind", "value", "who", "role", "reason")


def overrides_of(journal: Iterable[JournalRow], from_ms: int, to_ms: int) -> list[dict[str, Any]]:
    """Every override that was in force between two moments, oldest first, with begin and end in s after from_ms.

    journal: also of the time before, for what had begun by then. One that did not end has the end of the span.
    """
    found: list[dict[str, Any]] = []
    standing: dict[tuple[str, str], dict[str, Any]] = {}
    for row in journal:
        if row.kind != "by-hand" or row.utc_ms > to_ms:
            continue
        data = row.data
        kind, at_s = str(data.get("kind", "")), round((row.utc_ms - from_ms) / 1000.0, 3)
        key = (kind, str(data.get("who")) if kind == LOCK_OUT else row.tag)
        before = standing.pop(key, None)
        if before is not None:
            before["to_s"] = at_s
        if data.get("what") == "begins":
            entry = {"tag": row.tag, "text": row.text, **{name: data.get(name) for name in _TOLD}}
            standing[key] = {**entry, "from_s": at_s, "to_s": round((to_ms - from_ms) / 1000.0, 3)}
            found.append(standing[key])
    return [{**one, "from_s": max(0.0, one["from_s"])} for one in found if one["to_s"] > 0.0 or one["from_s"] >= 0.0]


def deviating(overrides: Iterable[dict[str, Any]]) -> tuple[str, ...]:
    """Those of them that make a cycle deviate, in short words, each once."""
    words = {"bypass": "bypassed", "force": "forced", "simulate": "simulated", "manual": "in manual"}
    said = [
        LOCK_OUT if one["kind"] == LOCK_OUT else f"{one['tag']} {words[one['kind']]}"
        for one in overrides
        if one["kind"] in (*COUNTED, LOCK_OUT)
    ]
    return tuple(dict.fromkeys(said))
