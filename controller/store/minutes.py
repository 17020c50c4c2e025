"""One row a minute: least, mean and greatest value and worst quality of every column.

A row is 13 bytes a column, in column order: three big-endian 32-bit floats and one quality. So one column of many
minutes is read with `substr` and never touches the others.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import chain
from struct import Struct

from controller.core.frames import Quality

COLUMN_BYTES = 13
_COLUMN = Struct(">fffB")
_FLOAT32_MAX = 3.4e38
_GOOD, _BAD = int(Quality.GOOD), int(Quality.BAD)


def pack_minute(
    values: Sequence[tuple[float, ...]], computed: Sequence[tuple[float, ...]], qualities: Sequence[tuple[int, ...]]
) -> bytes:
    """Fold the scans of one minute, at least one.

    values, qualities: of the analog inputs, one tuple a scan; computed: the computed columns, BAD where any is NaN.
    NaN takes no part in least, mean and greatest; a column of nothing else is NaN.
    """
    # A column that is the same object all minute (a target, an age) is folded as one value.
    columns = [
        column[:1] if column[-1] is column[0] and column.count(column[0]) == len(column) else column
        for column in (*zip(*values, strict=True), *zip(*computed, strict=True))
    ]
    totals = list(map(sum, columns))
    if -_FLOAT32_MAX < sum(totals) < _FLOAT32_MAX:  # so no NaN and no infinity anywhere: the quick way
        means = [total / len(column) for total, column in zip(totals, columns, strict=True)]
        folded: list[Iterable[float]] = [map(min, columns), means, map(max, columns)]
        found = [_GOOD] * len(columns)
    else:
        folded = list(zip(*map(_fold, columns), strict=True))
        found = [_BAD if any(map(math.isnan, column)) else _GOOD for column in columns]
    found[: len(qualities[0])] = _worst(qualities)
    flat = chain.from_iterable(zip(*folded, found, strict=True))
    return _packer(len(columns)).pack(*flat)


def unpack_minute(row: bytes) -> list[tuple[float, float, float, int]]:
    """(least, mean, greatest, worst quality) of every column of a row, or of a piece cut out of one."""
    return list(_COLUMN.iter_unpack(row))


def _fold(column: tuple[float, ...]) -> tuple[float, float, float]:
    """Least, mean and greatest of what is a number, clamped to 32-bit floats."""
    numbers = [min(max(value, -_FLOAT32_MAX), _FLOAT32_MAX) for value in column if not math.isnan(value)]
    if not numbers:
        return math.nan, math.nan, math.nan
    return min(numbers), math.fsum(number / len(numbers) for number in numbers), max(numbers)


def _worst(qualities: Sequence[tuple[int, ...]]) -> Sequence[int]:
    first = qualities[0]
    if qualities.count(first) == len(qualities):  # nearly always: nothing changed in this minute
        return first
    return [max(column) for column in zip(*qualities, strict=True)]


@lru_cache(maxsize=8)
def _packer(columns: int) -> Struct:
    return Struct(">" + "fffB" * columns)
