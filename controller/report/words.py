"""The words of a report in the language of whoever reads it: its own texts by key, and what the record says.

What a language does not have is said in English; `spoken` marks it so on the page.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

from controller.report.marks import Summary
from controller.report.marks import text as figure
from controller.wording.figures import COMMA, Figure
from controller.wording.phrases import said
from controller.wording.texts import flat, texts

_OWN = Path(__file__).parent / "texts"
_BETWEEN = {"en": "", "de": "."}  # thousands; the page's Intl.NumberFormat does so too


class Words:
    """Texts of one language. In English what the record says stands as it was written."""

    def __init__(self, language: str, own: Mapping[str, str], english: Mapping[str, str]) -> None:
        self.language = language
        self._own, self._english = own, english
        self._shared = {} if language == "en" else texts(language)
        self._signs = COMMA[language], _BETWEEN[language]

    def __call__(self, key: str, **values: Any) -> str:
        """One text with its names filled in; figures with the signs of the language."""
        text = self._own.get(key, self._english[key])
        return text.format(**{name: self.filled(value) for name, value in values.items()}) if values else text

    def knows(self, key: str) -> bool:
        """Whether this language has the text."""
        return key in self._own

    def known(self, key: str, otherwise: str) -> str:
        """One text without names, or what to say where there is none."""
        return self._own.get(key, self._english.get(key, otherwise))

    def number(self, value: float | None, places: int) -> str:
        """A figure for a person; a dash when it is not known."""
        text = figure(value, places)
        return text if self.language == "en" or value is None else f"{self.filled(float(text)):.{places}f}"

    def said(self, text: str) -> tuple[str, bool]:
        """(a sentence, name or surface of the record in this language, whether it is known there)."""
        return (text, True) if self.language == "en" or not text else said(text, self.language)

    def shared(self, key: str, otherwise: str) -> str:
        """A text of page and alarms, or the English words where there is none."""
        return self._shared.get(key, otherwise)

    def span(self, hold: Summary) -> str:
        """When a hold was and how long, in words; that it never was."""
        if hold["start_h"] is None:
            return self("was.never")
        return self("was.span", start=self.number(hold["start_h"], 1), hours=self.number(hold["hours"], 1))

    def energy(self, kWh: Mapping[str, float]) -> str:
        """The sum, and every part of it that is known: "127 kWh (heat 28, fan 96, other 4)"."""
        parts = [f"{self.known(f'energy.{what}', what)} {self.number(value, 0)}" for what, value in kWh.items()]
        return self("was.energy", sum=sum(kWh.values()), parts=", ".join(parts))

    def clock(self, utc_ms: float) -> str:
        """Weekday and local time."""
        at = datetime.fromtimestamp(utc_ms / 1000.0, UTC).astimezone()
        return self("at", day=self("weekdays").split()[at.weekday()], time=f"{at:%H:%M}")

    def moment(self, utc_ms: float) -> str:
        """UTC and the local time of this computer."""
        at = datetime.fromtimestamp(utc_ms / 1000.0, UTC)
        local = at.astimezone()
        offset = f"{local:%z}"
        there = self("clock" if local.date() == at.date() else "clock_of_another_day", at=local)
        return self("moment", at=at, there=there, offset=f"{offset[:3]}:{offset[3:]}")

    def filled(self, value: Any) -> Any:
        """A value as it is filled into a text: a number takes the signs of the language when it is formatted."""
        return Figure(value, *self._signs) if isinstance(value, int | float) else value


@cache
def words_of(language: str) -> Words:
    """The words of a language of the program."""
    english = _read("en")
    return Words(language, english if language == "en" else _read(language), english)


def _read(language: str) -> dict[str, str]:
    return flat(tomllib.loads((_OWN / f"{language}.toml").read_text(encoding="utf-8")))


ENGLISH = words_of("en")
