"""One core for what is timed, and for client and server of one process: a wake-up across cores costs more than work."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def one_core() -> Iterator[None]:
    """This process and its children on one core, where the system can do that."""
    before = os.sched_getaffinity(0) if hasattr(os, "sched_getaffinity") else None
    if before:
        os.sched_setaffinity(0, {max(before)})
    try:
        yield
    finally:
        if before:
            os.sched_setaffinity(0, before)
