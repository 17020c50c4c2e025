"""Which calls of a clean run are struck. strace counts each kind of call in each thread by itself."""

from __future__ import annotations

import random
import re
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from crashpoints.tracing import REFUSABLE, Call, Inject, Thread, Way

LIMIT_BYTES_MIN = 8192  # other files of the controller stay below
_FILE = re.compile(r"^\d+<(?:[^>]*/)?([^>/]+)>")  # of a call that has a file open
_PLACE = re.compile(r", (\d+), (\d+)\) += \d+$")  # of pwrite64: bytes, offset
_LENGTH = re.compile(r", (\d+)\) += 0$")  # of ftruncate
_GONE = re.compile(r'^(?:AT_FDCWD[^,]*, )?"(?:[^"]*/)?([^"/]+)".*= 0$')  # of unlink


def points(found: list[Call], way: Way, folder: Path, sizes: Mapping[str, int] = MappingProxyType({})) -> list[Inject]:
    """One try a call of the main thread and the recorder's; others only print. folder: where the controller writes.
    sizes: of the files in it before the first call."""
    main = found[0].thread
    syncing = Counter(call.thread for call in found if call.name in REFUSABLE and call.thread != main)
    threads: dict[int, Thread] = {main: "main"}
    if syncing:
        threads[syncing.most_common(1)[0][0]] = "recorder"
    if way == "short":
        return _cuts(found, threads, dict(sizes))
    return [
        Inject(way, call.name, call.nth, threads[call.thread])
        for call in found
        if call.thread in threads and (way == "kill" or _refusable(call, folder, of_main=call.thread == main))
    ]


def _refusable(call: Call, folder: Path, *, of_main: bool) -> bool:
    """Whether a disk could refuse it; not what is printed."""
    return call.name in REFUSABLE or (call.name == "write" and of_main and f"<{folder}" in call.text)


def _cuts(found: list[Call], threads: Mapping[int, Thread], sizes: dict[str, int]) -> list[Inject]:
    """Every write that makes its file larger, cut in its middle by the limit of a file's size. The limit holds from
    where the thread begins, so nothing of the thread may have been beyond it before."""
    tries: list[Inject] = []
    most: dict[tuple[int, str], int] = {}  # where the thread has written up to in a file
    for call in found:
        if call.name in ("unlink", "unlinkat") and (gone := _GONE.search(call.text)):
            sizes.pop(gone[1], None)
        file, place = _FILE.search(call.text), _PLACE.search(call.text)
        if file is None:
            continue
        name = file[1]
        if call.name == "ftruncate" and (length := _LENGTH.search(call.text)):
            sizes[name] = int(length[1])
        if call.name != "pwrite64" or place is None:
            continue
        size, offset = int(place[1]), int(place[2])
        before = max(sizes.get(name, 0), most.get((call.thread, name), 0), LIMIT_BYTES_MIN)
        if offset >= before and size > 1 and call.thread in threads:
            limit = offset + size // 2
            tries.append(Inject("short", call.name, call.nth, threads[call.thread], limit=limit, file=name))
        most[call.thread, name] = max(most.get((call.thread, name), 0), offset + size)
        sizes[name] = max(sizes.get(name, 0), offset + size)
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
