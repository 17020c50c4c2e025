"""What came of the tries of one scene and way, as a row of a table and as JSON."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from crashpoints.tracing import Inject, Way


@dataclass(slots=True)
class Result:
    """calls: of a clean run, by kind.  tried, struck: tries, and those in which the call came at all.
    acknowledged: journal lines that a reader had seen before the end, over all tries.  unseen_max: most scans the
    device lived that the record does not have.  told: tries in which an alarm told of the disk.
    """

    scene: str
    way: Way
    calls: dict[str, int]
    tried: int = 0
    struck: int = 0
    acknowledged: int = 0
    unseen_max: int = 0
    told: int = 0
    failures: list[tuple[Inject, list[str]]] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """All of it."""
        fields = ("scene", "way", "calls", "tried", "struck", "acknowledged", "unseen_max", "told")
        wrong = [
            {"call": one.name, "nth": one.nth, "thread": one.thread, "wrong": texts} for one, texts in self.failures
        ]
        return {**{name: getattr(self, name) for name in fields}, "failures": wrong}


_HEAD = ("scene", "way", "calls", "tried", "struck", "lines seen before", "scans not kept", "told", "failed")


def table(results: list[Result]) -> str:
    """One row a scene and way."""
    rows = [_HEAD, *[_row(result) for result in results]]
    widths = [max(len(row[column]) for row in rows) for column in range(len(_HEAD))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    return "\n".join(lines)


def _row(result: Result) -> tuple[str, ...]:
    killed = result.way == "kill"
    return (
        result.scene, result.way, str(sum(result.calls.values())), str(result.tried), str(result.struck),
        str(result.acknowledged), f"at most {result.unseen_max}" if killed else "",
        "" if killed else str(result.told), str(len(result.failures)),
    )  # fmt: skip
