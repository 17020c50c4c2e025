"""Offsets of probes and the days on which they were found: a correction that nobody can date is a guess."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from controller.core.signals.signals import SignalsConfig

LARGE = 3.0  # K, %RH: more than equalising corrects, our choice
VALID_DAYS = 365  # common practice for air probes, no source; the list of duties has the item itself


def problems(config: SignalsConfig) -> Iterator[tuple[str, str, str, str]]:
    """(field, value, limit, remedy) of every day that is none, or of a tag that has no offset."""
    for tag, day in config.offset_on.items():
        field = f"signals.offset_on.{tag}"
        if tag not in config.offset:
            yield field, day, "there is no offset of this tag", "add it to [signals.offset] or take the day out"
        try:
            date.fromisoformat(day)
        except ValueError:
            yield field, day, "must be a day, YYYY-MM-DD", "for example 2026-03-01"


def notes(config: SignalsConfig, today: date) -> list[str]:
    """What to look after, a sentence each; for a config without `problems`."""
    found = []
    undated = sorted(tag for tag in config.offset if tag not in config.offset_on)
    if undated:
        found.append(f"nobody knows when the offset of {', '.join(undated)} was found: say so in [signals.offset_on]")
    for tag, offset in sorted(config.offset.items()):
        if abs(offset) > LARGE:
            found.append(f"the offset of {tag} is {offset:g}: a probe so far off is broken or wired wrong, look at it")
    for tag, text in sorted(config.offset_on.items()):
        day = date.fromisoformat(text)
        if day > today:
            found.append(f"the offset of {tag} was found on {text}, which is yet to come: look at the date")
        elif (today - day).days > VALID_DAYS:
            found.append(
                f"the offset of {tag} was found on {text}, {(today - day).days} days ago: compare it with a reference"
            )
    return found
