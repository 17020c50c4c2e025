"""Raw numbers of every type out of 16-bit words. Pure.

A float32 is IEEE 754; which of its two registers comes first is no part of the Modbus specification, so each point
says it. Signed numbers are two's complement.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import isfinite
from operator import itemgetter
from struct import Struct
from typing import Any, NamedTuple

from controller.core.points import NO_NUMBER, Type, WordOrder

_WORDS = Struct(">HH")
_WIDE: dict[Type, Struct] = {"int32": Struct(">i"), "uint32": Struct(">I"), "float32": Struct(">f")}


class Source(NamedTuple):
    """Where a raw number stands: its first word, its type, and the order of its words if it has two."""

    word: int
    type: Type = "uint16"
    order: WordOrder = "high-first"


def numbers_of(sources: Sequence[Source]) -> Callable[[Sequence[int]], tuple[int | float, ...]]:
    """A function from words to the raw numbers of these sources, in their order. NaN and infinity give NO_NUMBER."""
    pick = picker([source.word for source in sources])
    signed = [column for column, source in enumerate(sources) if source.type == "int16"]
    wide = [
        (column, *_high_low(source), _WIDE[source.type])
        for column, source in enumerate(sources)
        if source.type in _WIDE
    ]
    if not signed and not wide:
        return pick

    def numbers(words: Sequence[int]) -> tuple[int | float, ...]:
        values: list[int | float] = list(pick(words))
        for column in signed:
            if values[column] > 32767:
                values[column] -= 65536
        for column, high, low, form in wide:
            (value,) = form.unpack(_WORDS.pack(words[high], words[low]))
            values[column] = value if isfinite(value) else NO_NUMBER
        return tuple(values)

    return numbers


def picker(words: Sequence[int]) -> Callable[[Sequence[int]], tuple[int, ...]]:
    """A function that takes these words out of many, as a tuple."""
    if len(words) < 2:
        only = tuple(words)
        return lambda source: tuple(source[word] for word in only)
    pick: Any = itemgetter(*words)
    return pick  # type: ignore[no-any-return]


def _high_low(source: Source) -> tuple[int, int]:
    first, second = source.word, source.word + 1
    return (first, second) if source.order == "high-first" else (second, first)
