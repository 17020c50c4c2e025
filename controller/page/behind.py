"""Control goes first on a shared computer: the page, and whatever it starts, is nicer and keeps to one core.

A page that many look on takes as much of a processor as it gets; Python does not use more than one core anyway. On a
computer with two the other is then control's, and a scan that is due need not wait until a busy core is given up.
"""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

NICE = 10
_GROUP = Path("/proc/self/autogroup")


def step_back() -> None:
    """Once, before anything heavy is imported. What a system does not have or does not allow is left out."""
    if hasattr(os, "nice"):
        with suppress(OSError):
            os.nice(max(0, NICE - os.nice(0)))
    if hasattr(os, "sched_setaffinity"):
        cores = sorted(os.sched_getaffinity(0))
        if len(cores) > 1:
            with suppress(OSError):
                os.sched_setaffinity(0, cores[-1:])
    # Linux shares a processor between terminals first and between programs of one after that: as the first program of
    # a session of its own, its whole session is nicer.
    if hasattr(os, "getsid") and os.getsid(0) == os.getpid():
        with suppress(OSError):
            _GROUP.write_text(f"{NICE}\n", encoding="ascii")
