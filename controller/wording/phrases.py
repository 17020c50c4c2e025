"""Sentences that record, report and forecast say in English, in another language: by the pattern of the English one."""

from __future__ import annotations

import re
import tomllib
from functools import cache

from controller.wording.figures import figure
from controller.wording.texts import FOLDER

_NAME = re.compile(r"\{(\w+)\}")

# Parts of a sentence that are sentences too; the others are names, numbers and what people wrote. core.js has the same.
INSIDE = frozenset((
    "verb", "reason", "why", "phase", "band", "from", "to", "kind", "state", "was", "is", "limit", "remedy", "what",
    "surface", "a", "b",
))  # fmt: skip

MUST = ("a", "b", "verb")  # of these, those that have to be known: anything may stand before "by somebody"


@cache
def phrases(language: str) -> dict[str, str]:
    """Sentences of record and forecast by their English pattern, in a language; empty where there are none."""
    path = FOLDER / f"phrases.{language}.toml"
    return dict(tomllib.loads(path.read_text(encoding="utf-8"))["phrases"]) if path.is_file() else {}


def said(text: str, language: str) -> tuple[str, bool]:
    """(a sentence of record or forecast in a language, whether it is known there); as it is where it is not."""
    book = phrases(language)
    if text in book:
        return book[text], True
    for match, own in _patterns(language):
        found = match.fullmatch(text)
        if found is None:
            continue
        parts = {
            name: said(part, language) if name in INSIDE else (figure(part, language), True)
            for name, part in found.groupdict().items()
        }
        if all(parts[name][1] for name in MUST if name in parts):
            return own.format(**{name: part for name, (part, _known) in parts.items()}), True
    return text, False


@cache
def _patterns(language: str) -> list[tuple[re.Pattern[str], str]]:
    """Two known parts first, then the most of a sentence, so that what fits only by its placeholders comes last."""
    found = [(english, own) for english, own in phrases(language).items() if "{" in english]
    found.sort(key=lambda pair: ("{a}" not in pair[0], -len(_NAME.sub("", pair[0]))))
    return [(re.compile(_NAME.sub(r"(?P<\1>.+?)", re.escape(english).replace(r"\{", "{").replace(r"\}", "}"))), own)
            for english, own in found]  # fmt: skip
