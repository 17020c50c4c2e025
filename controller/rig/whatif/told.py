"""A what-if as it acts in a scene, so that nothing made with it ever looks like the chamber of the plant file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Told:
    """A case in force. amount: None where it has none. text, said: what is the matter, and how much of it, in words.

    changes: every number that it changed, before and after, in words.
    """

    name: str
    amount: float | None
    text: str
    said: str
    changes: tuple[str, ...]

    @property
    def asked(self) -> str:
        """As it would be asked for."""
        return self.name if self.amount is None else f"{self.name}={self.amount:g}"


def listed(cases: Sequence[Told]) -> list[dict[str, Any]]:
    """For summary.json."""
    return [
        {"name": one.name, "amount": one.amount, "text": one.text, "said": one.said, "changes": list(one.changes)}
        for one in cases
    ]


def in_short(cases: Sequence[Told]) -> str:
    """On one line, for the head of a record; "" for none."""
    return ", ".join(one.asked for one in cases)
