"""The words of messages in the language of whoever reads them: one file a language, one key a text.

The words of the alarms themselves are those of the page (controller/wording), so that a mail and the screen say the
same; what is not there, rows that a chamber adds, stays as its file says it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from controller.callout.plan import Plan
from controller.core.rows.alarms import AlarmRow
from controller.wording.figures import COMMA, Figure
from controller.wording.texts import FOLDER

_OWN = Path(__file__).parent / "texts"


@dataclass(frozen=True, slots=True)
class Texts:
    """texts: by key. alarms: tag -> words in this language; empty for English, the language of the rows. comma: what
    stands before decimals.
    """

    texts: Mapping[str, str]
    alarms: Mapping[str, Mapping[str, str]]
    comma: str

    def __call__(self, key: str, **values: Any) -> str:
        """One text with its names filled in."""
        return self.texts[key].format(**{name: Figure(value, self.comma) for name, value in values.items()})

    def known(self, key: str, otherwise: str) -> str:
        """One text without names, or what to say where this language has none."""
        return self.texts.get(key, otherwise)

    def row(self, row: AlarmRow) -> AlarmRow:
        """An alarm with its words in this language."""
        words = self.alarms.get(row.tag, {})
        return row if not words else replace(
            row, text=words.get("text", row.text), cause=words.get("cause", row.cause),
            consequence=words.get("consequence", row.consequence), action=words.get("action", row.action),
        )


def language_of(plan: Plan, person: str) -> Texts:
    """The words in which somebody is told."""
    own = next((one.language for one in plan.people if one.key == person), "")
    return texts_of(own or plan.language)


@cache
def texts_of(language: str) -> Texts:
    """The words of a language of the plan."""
    found = tomllib.loads((_OWN / f"{language}.toml").read_text(encoding="utf-8"))
    alarms: dict[str, dict[str, str]] = {}
    if language != "en":
        alarms |= tomllib.loads((FOLDER / f"{language}.toml").read_text(encoding="utf-8"))["alarm"]
        alarms["record-silent"] = found.pop("silent")
    words = {tag: one for tag, one in alarms.items() if isinstance(one, dict)}
    flat = {key: text for key, text in found.items() if isinstance(text, str)}
    flat |= {f"{group}.{key}": text for group, one in found.items() if isinstance(one, dict)
             for key, text in one.items()}
    return Texts(flat, words, COMMA[language])
