"""Which calls of a clean run can be hit. strace counts each kind of call in each thread by itself."""

from __future__ import annotations

import random
import re
from pathlib import Path
from typing import NamedTuple

from crashpoints.tracing import REFUSABLE, Call, Inject, Way


class Points(NamedTuple):
    """tries: what to do, in the order of the calls.  hidden: calls that only another thread's n-th stands for."""

    tries: list[Inject]
    hidden: int


LIMIT_BYTES_MIN = 8192  # other files of the controller stay below
_PLACE = re.compile(r", (\d+), (\d+)\) += \d+$")  # of pwrite64: bytes, offset


def points(found: list[Call], way: Way, folder: Path) -> Points:
    """One try a call. folder: where the controller writes.

    The main thread is traced alone; of the others a call can be hit if no thread was there before with as many, so
    the first few of the recorder's are not: the window begins after them.
    """
    if way == "short":
        return Points(_cuts(found), 0)
    main = found[0].thread
    reached: dict[str, int] = {}
    tries: list[Inject] = []
    hidden = 0
    for call in found:
        first = call.nth > reached.get(call.name, 0)
        reached[call.name] = max(call.nth, reached.get(call.name, 0))
        if way != "kill" and not _refusable(call, folder, of_main=call.thread == main):
            continue
        if call.thread == main:
            tries.append(Inject(way, call.name, call.nth, threads=False))
        elif first:
            tries.append(Inject(way, call.name, call.nth, threads=True))
        else:
            hidden += 1
    return Points(tries, hidden)


def _refusable(call: Call, folder: Path, *, of_main: bool) -> bool:
    """Whether a disk could refuse it; not what is printed."""
    return call.name in REFUSABLE or (call.name == "write" and of_main and f"<{folder}" in call.text)


def _cuts(found: list[Call]) -> list[Inject]:
    """Every write that makes a file larger than any was before, cut in its middle by the limit of a file's size."""
    tries, largest = [], LIMIT_BYTES_MIN
    for call in found:
        match = _PLACE.search(call.text) if call.name == "pwrite64" else None
        if match is None:
            continue
        size, offset = int(match[1]), int(match[2])
        if offset >= largest and size > 1:
            tries.append(Inject("short", call.name, call.nth, threads=True, limit=offset + size // 2))
        largest = max(largest, offset + size)
    return tries


def sample(tries: list[Inject], count: int | None, seed: str) -> list[Inject]:
    """So many of them, each kind of call at least once where there is room; None = all."""
    if count is None or count >= len(tries):
        return tries
    draw = random.Random(seed)
    kinds: dict[tuple[str, bool], list[Inject]] = {}
    for one in tries:
        kinds.setdefault((one.name, one.threads), []).append(one)
    chosen = [draw.choice(of_kind) for of_kind in kinds.values()][:count]
    rest = [one for one in tries if one not in chosen]
    chosen += draw.sample(rest, count - len(chosen))
    return sorted(chosen, key=tries.index)
