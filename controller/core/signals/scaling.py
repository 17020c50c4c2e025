"""Value by raw word: a table where all words can be listed, a computation where they cannot."""

from __future__ import annotations

from functools import lru_cache
from math import nan


@lru_cache(maxsize=256)
def table(gain: float, base: float, low: int, high: int, faults: frozenset[int]) -> tuple[float, ...]:
    """Value by word over all 16-bit words, NaN outside low..high. Negative words stand at the end, as an index does.

    A tuple hands out numbers that exist, which is quicker than an array.
    """
    values = [nan] * 65536
    for word in range(max(low, -32768), min(high, 65535) + 1):
        if word not in faults:
            values[word] = word * gain + base
    return tuple(values)


class Wide:
    """The same as a table for numbers of 32 bits, whole or broken: too many to list, so it computes."""

    __slots__ = ("_base", "_faults", "_gain", "_high", "_low")

    def __init__(self, gain: float, base: float, low: int, high: int, faults: frozenset[int]) -> None:
        self._gain, self._base, self._low, self._high, self._faults = gain, base, low, high, faults

    def __getitem__(self, word: float) -> float:
        if not self._low <= word <= self._high or word in self._faults:
            return nan
        return word * self._gain + self._base
