"""Numbers of a seed: each from (seed, purpose) by counting, the same in every process."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from typing import TypeVar

from plantsim.kernel.noise import step_key, uniform

T = TypeVar("T")


def number(seed: int, purpose: str, n: int = 0) -> float:
    """Inside (0, 1): the n-th of its purpose."""
    return uniform(step_key(seed, zlib.crc32(f"campaign {purpose}".encode())), n)


def pick(seed: int, purpose: str, among: Sequence[T], n: int = 0) -> T:
    """One of several, evenly."""
    return among[int(number(seed, purpose, n) * len(among))]
