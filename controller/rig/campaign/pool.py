"""Many runs at once: each in a process of a pool, or one after the other in this one."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from typing import Any, Protocol


class Stopped(Protocol):
    """Does somebody want to end early? Asked between runs."""

    def __call__(self) -> bool: ...


def results(
    work: Callable[[Any], Any], asked: Sequence[Any], workers: int, stopped: Stopped
) -> Iterator[Any]:
    """work(one) for each of `asked`, as they are done. Ends early when `stopped`; what runs then is waited for.

    With one worker everything happens in this process. An error of a run is raised here.
    """
    if workers <= 1:
        for one in asked:
            if stopped():
                return
            yield work(one)
        return
    left = list(reversed(asked))
    with _pool(min(workers, max(1, len(asked)))) as pool:
        running: set[Future[Any]] = set()
        while left or running:
            while left and len(running) < 2 * workers and not stopped():
                running.add(pool.submit(work, left.pop()))
            if not running:
                return
            done, running = wait(running, timeout=0.5, return_when=FIRST_COMPLETED)
            for future in done:
                yield future.result()
            if stopped():
                left.clear()
                running -= {future for future in running if future.cancel()}


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextlib.contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    """Processes that leave Ctrl-C to this one. Started anew: forks do not go well with threads and compiled code."""
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context, initializer=_deaf) as pool:
        yield pool


def _deaf() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
