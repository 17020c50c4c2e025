"""Memory put by for the end: when there is no more, safe outputs and the last of the record still have some."""

from __future__ import annotations

import mmap

BYTES = 8 * 2**20  # address space only until somebody needs it; ends and journals of a day's run took less than a tenth


class Reserve:
    """Held from the start of a run. A mapping of its own, so that what is given back can be had again at once."""

    def __init__(self) -> None:
        self._kept = mmap.mmap(-1, BYTES, flags=mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS)

    def release(self) -> None:
        """Give it back; again does nothing."""
        self._kept.close()
