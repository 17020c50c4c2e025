"""Texts of page and alarms: one file a language, one key a text. A key without a translation is shown in English."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

LANGUAGES = {"en": "English", "de": "Deutsch"}
FOLDER = Path(__file__).parent


@cache
def texts(language: str) -> dict[str, str]:
    """Every text of a language by its key: names of tables and keys joined by points."""
    found = flat(tomllib.loads((FOLDER / "en.toml").read_text(encoding="utf-8")))
    if language != "en":
        found |= flat(tomllib.loads((FOLDER / f"{language}.toml").read_text(encoding="utf-8")))
    return found


def best(wanted: str, chosen: str) -> str:
    """The language for somebody: the one chosen, else the first of an Accept-Language header that we have."""
    if chosen in LANGUAGES:
        return chosen
    for part in wanted.split(","):
        tag = part.split(";")[0].strip().lower()[:2]
        if tag in LANGUAGES:
            return tag
    return "en"


def flat(table: dict[str, object], before: str = "") -> dict[str, str]:
    """The texts of a file by their keys, joined by points."""
    found: dict[str, str] = {}
    for key, value in table.items():
        if isinstance(value, dict):
            found |= flat(value, f"{before}{key}.")
        else:
            found[before + key] = str(value)
    return found
