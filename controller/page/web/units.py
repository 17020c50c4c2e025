"""Units for display: data of `units.toml`. What is stored and sent stays as it is; a window converts."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

USUAL = "si"


@cache
def sets() -> dict[str, dict[str, Any]]:
    """Every set by its name: {"name": for people, "unit": {stored: {"as", "times", "plus"}}}."""
    found: dict[str, dict[str, Any]] = tomllib.loads(Path(__file__).with_name("units.toml").read_text(encoding="utf-8"))
    return {
        key: {
            "name": one["name"],
            "unit": {unit: {"times": 1.0, "plus": 0.0, **shown} for unit, shown in one["unit"].items()},
        }
        for key, one in found.items()
    }


def label(unit: str, chosen: str) -> str:
    """How a unit is written in a set; as it is stored where the set has no other."""
    return str(sets()[chosen]["unit"].get(unit, {"as": unit})["as"])
