"""What becomes of the words of a reply that arrives in good form and with wrong content."""

from __future__ import annotations

from collections.abc import Sequence

from controller.link.wirefaults import Fault


class Spoiler:
    """Spoils the replies of one device. Remembers what came last: for stale replies and registers that stick."""

    def __init__(self) -> None:
        self._last: list[int] | None = None
        self._stuck: dict[Fault, int] = {}

    def __call__(self, faults: Sequence[Fault], words: list[int]) -> list[int] | None:
        """What arrives of `words` while these faults act; None when that is nothing, for want of an earlier reply."""
        before = self._last
        if not faults:
            self._last = words
            if self._stuck:
                self._stuck.clear()
            return words
        if any(fault.kind == "stale" for fault in faults):
            if before is None:
                return None
            words = before  # a frozen reply stays the same for as long as the fault lasts
        self._last = words
        self._stuck = {fault: value for fault, value in self._stuck.items() if fault in faults}
        shown = list(words)
        for fault in faults:
            self._apply(fault, shown, before)
        return shown

    def _apply(self, fault: Fault, shown: list[int], before: list[int] | None) -> None:
        at, count = fault.word, len(shown)
        if fault.kind == "byte-swapped":
            shown[:] = [word << 8 & 0xFF00 | word >> 8 for word in shown]
        elif fault.kind == "word-swapped":
            even = count - count % 2
            shown[:even:2], shown[1:even:2] = shown[1:even:2], shown[:even:2]
        elif at >= count:
            return
        elif fault.kind == "bit-flip":
            shown[at] ^= 1 << fault.bit
        elif fault.kind == "stuck-register":
            shown[at] = self._stuck.setdefault(fault, shown[at] if before is None else before[at])
