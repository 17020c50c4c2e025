"""What a record says, as elements of a page: in the language of the report, marked as English where it has no words.

Alarms and trips are known by their tag, orders by their verb; everything else is looked up as a sentence.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from markupsafe import Markup, escape

from controller.core.rows.alarms import ALARMS
from controller.report.words import Words

_ROWS = {row.tag: row for row in ALARMS}
_TRIPPED, _BY_HAND, _IN_HAND = "tripped: ", "overridden by hand: ", "in hand at the panel: "
_DONE_BY_HAND = ("bypassed", "forced", "simulated", "in manual")


def element(words: Words, key: str, **values: Any) -> str:
    """A text by key to stand inside an element."""
    text = words(key, **values)
    return text if words.knows(key) else _english(text)


def spoken(words: Words, text: str) -> str:
    """A sentence of the record."""
    own, known = words.said(text)
    return own if known else _english(text)


def alarm(words: Words, tag: str, text: str) -> str:
    """An alarm or a trip, "what: cause", "what: over": by its tag, else part by part."""
    if words.language == "en":
        return text
    what, colon, cause = text.partition(": ")
    row = _ROWS.get(tag)
    parts = [
        words.shared(f"alarm.{tag}.{part}", english) if row is not None and getattr(row, part) == english else
        spoken(words, english)
        for part, english in (("text", what), ("cause", cause))
    ]
    return Markup("{}{}{}").format(escape(parts[0]), colon, escape(parts[1]))


def action(words: Words, tag: str, text: str) -> str:
    """What an alarm says to do."""
    row = _ROWS.get(tag)
    return words.shared(f"alarm.{tag}.action", text) if row is not None and row.action == text else spoken(words, text)


def named(words: Words, tags: Iterable[str]) -> str:
    """Alarms and trips by what they are called; English reports name them by their tags."""
    return ", ".join(words.shared(f"alarm.{tag}.text", tag) for tag in tags)


def order(words: Words, data: Mapping[str, Any]) -> str:
    """An order with what became of it, and why it was refused."""
    verb, outcome, reason = (str(data.get(name) or "") for name in ("verb", "outcome", "reason"))
    verb = words.shared(f"verb.{verb}", verb).rstrip("…")
    done = f"{verb}, {words.said(outcome)[0]}"
    return Markup("{}: {}").format(done, spoken(words, reason)) if reason else done


def who(words: Words, name: str) -> str:
    """Who ordered it: a name, or a thing of the program that has a word."""
    return words.known(f"who.{name}", name)


def duty(words: Words, tag: str, text: str, item: tuple[str, str] | None) -> str:
    """A line about tests and service. item: (text, action) as the chamber file has them, where it can be read."""
    if words.language == "en" or item is None:
        return spoken(words, text)
    own = [words.shared(f"dutyitem.{tag}.{part}", words.said(english)[0])
           for part, english in zip(("text", "action"), item, strict=True)]  # fmt: skip
    for english, known in zip(item, own, strict=True):
        text = text.replace(english, known, 1)
    return spoken(words, text)


def reason(words: Words, text: str) -> str:
    """A reason of the verdict."""
    if words.language == "en":
        return text
    if text.startswith(_TRIPPED):
        return words.said(_TRIPPED + named(words, text.removeprefix(_TRIPPED).split(", ")))[0]
    if text.startswith(_BY_HAND):
        tags = [_by_hand(words, one) for one in text.removeprefix(_BY_HAND).split(", ")]
        return words.said(_BY_HAND + ", ".join(tags))[0]
    if text.startswith(_IN_HAND):
        return Markup("{}{}").format(words.said(_IN_HAND + "\0")[0].removesuffix("\0"),
                                     alarm(words, "in-hand", text.removeprefix(_IN_HAND)))
    return spoken(words, text)


def _by_hand(words: Words, one: str) -> str:
    tag, _space, done = one.partition(" ")
    return f"{tag} {words(f'by_hand.{done}')}" if done in _DONE_BY_HAND else words.said(one)[0]


def _english(text: str) -> Markup:
    return Markup('<span lang="en">{}</span>').format(text)
