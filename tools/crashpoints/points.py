"""Which calls of a clean run are struck. strace counts each kind of call in each thread by itself."""

from __future__ import annotations

import random
import re
from collections import Counter
from pathlib import Path

from crashpoints.tracing import REFUSABLE, Call, Inject, Thread, Way

LIMIT_BYTES_MIN = 8192  # other files of the controller stay below
_PLACE = re.compile(r", (\d+), (\d+)\) += \d+$")  # of pwrite64: bytes, offset


def points(found: list[Call], way: Way, folder: Path) -> list[Inject]:
    """One try a call of the main thread and the recorder's; others only print. folder: where the controller writes."""
    if way == "short":
        return _cuts(found)
    main = found[0].thread
    syncing = Counter(call.thread for call in found if call.name in REFUSABLE and call.thread != main)
    threads: dict[int, Thread] = {main: "main"}
    if syncing:
        threads[syncing.most_common(1)[0][0]] = "recorder"
    return [
        Inject(way, call.name, call.nth, threads[call.thread])
        for call in found
        if call.thread in threads and (way == "kill" or _refusable(call, folder, of_main=call.thread == main))
    ]


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
            tries.append(Inject("short", call.name, call.nth, "main", limit=offset + size // 2))
        largest = max(largest, offset + size)
    return tries


def every(tries: list[Inject], step: int) -> list[Inject]:
    """Every so-manieth of each kind of call in each thread, its first and its last always."""
    kinds: dict[tuple[str, str], list[Inject]] = {}
    for one in tries:
        kinds.setdefault((one.name, one.thread), []).append(one)
    chosen = {id(one) for of_kind in kinds.values() for one in (*of_kind[::step], of_kind[-1])}
    return [one for one in tries if id(one) in chosen]


def sample(tries: list[Inject], count: int | None, seed: str) -> list[Inject]:
    """So many of them, each kind of call at least once where there is room; None = all."""
    if count is None or count >= len(tries):
        return tries
    draw = random.Random(seed)
    kinds: dict[tuple[str, str], list[Inject]] = {}
    for one in tries:
        kinds.setdefault((one.name, one.thread), []).append(one)
    chosen = [draw.choice(of_kind) for of_kind in kinds.values()][:count]
    rest = [one for one in tries if one not in chosen]
    chosen += draw.sample(rest, count - len(chosen))
    return sorted(chosen, key=tries.index)
