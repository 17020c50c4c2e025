"""What the rows of a table are made of: a row, its marks, figures in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

Summary = Mapping[str, Any]
Row = tuple[str, str, str, str]  # what, asked, was, sign

GOOD, BAD, PLAIN = "ok", "NO", ""


def text(number: float | None, places: int) -> str:
    """A figure for a person; a dash when it is not known."""
    return "-" if number is None else f"{round(number, places) + 0.0:.{places}f}"  # + 0.0: no figure is "-0"


def counted(number: int, one: str, more: str = "") -> str:
    """ "1 outage", "2 outages": a count with its noun, whose plural is `more` or takes an s."""
    return f"{number} {one if number == 1 else more or one + 's'}"


def sign(number: float | None, low: float | None, high: float | None) -> str:
    """ "ok" inside the limits, "NO" outside, nothing when not known."""
    if number is None:
        return PLAIN
    inside = (low is None or number >= low) and (high is None or number <= high)
    return GOOD if inside else BAD
