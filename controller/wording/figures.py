"""Figures as a language writes them: its decimal sign, and where asked for what stands between thousands."""

from __future__ import annotations

import re
from typing import Any

COMMA = {"en": ".", "de": ","}  # the sign before decimals
_FIGURE = re.compile(r"[+-]?\d+\.\d+")


class Figure:
    """A value that is formatted as a language does when it is filled into a text; words and bare values stay."""

    def __init__(self, value: Any, comma: str, between: str = "") -> None:
        self._value, self._comma, self._between = value, comma, between

    def __format__(self, spec: str) -> str:
        if not spec or isinstance(self._value, str):
            return format(self._value, spec)
        text = format(self._value, f",{spec}" if self._between else spec)
        return text.translate({ord(","): self._between, ord("."): self._comma})


def figure(text: str, language: str) -> str:
    """A figure that stands in a sentence, with the decimal sign of a language; anything else as it is."""
    return text.replace(".", COMMA[language]) if _FIGURE.fullmatch(text) else text
