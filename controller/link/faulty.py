"""A link that fails on schedule: what a wire, a switch or a device can do, by frame number, so that it repeats.

Frame 0 is the first read or turn, and each further read or turn is the next one; a write belongs to the frame
that was read before it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Final, Literal

from annotated_types import Ge, Le

from controller.errors import LinkError
from controller.link.pdu import EXCEPTIONS
from controller.link.protocol import Link

FaultKind = Literal[
    "lost-request",  # the device never sees it
    "lost-reply",  # the device acts, nobody hears of it
    "late-request",  # lost for now; reaches the device after the next exchange, as a thawed socket does it
    "stale",  # the device acts, but the reply is that of an earlier frame
    "exception",  # the device refuses with `code`
    "wrong-length",  # the device acts, the reply is a word short
    "bit-flip",  # the device acts, `bit` of `word` is turned over in the reply
    "disconnected",  # nobody there
]

_KINDS: Final[dict[str, tuple[str, str]]] = {
    "lost-request": ("timeout", "no reply"),
    "late-request": ("timeout", "no reply"),
    "lost-reply": ("timeout", "no reply"),
    "wrong-length": ("wrong-length", "the reply is a word short"),
    "disconnected": ("refused", "connection refused"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault for `frames` frames on end. code: for "exception"; word, bit: for "bit-flip"."""

    kind: FaultKind
    frames: Annotated[int, Ge(1), Le(1_000_000)] = 1
    code: Annotated[int, Ge(1), Le(255)] = 4
    word: Annotated[int, Ge(0), Le(122)] = 0
    bit: Annotated[int, Ge(0), Le(15)] = 0


class FaultyLink:
    """A Link around `link`. schedule: frame number -> Fault that begins there (a later one takes over)."""

    def __init__(self, link: Link, schedule: Mapping[int, Fault]) -> None:
        self.counts: dict[str, int] = {}
        self._link = link
        self._schedule = dict(schedule)
        self._frame = -1
        self._fault: Fault | None = None
        self._until = 0
        self._last: list[int] | None = None
        self._late: list[int] | None = None

    def read(self) -> list[int]:
        """The input block, or the fault of the next frame."""
        self._next_frame()
        return self._words(None)

    def write(self, words: Sequence[int]) -> None:
        """Send the output block, or suffer the fault of this frame."""
        fault = self._fault
        late, self._late = self._late, None
        try:
            if fault is None or fault.kind in ("stale", "bit-flip"):
                self._link.write(words)
            else:
                self._suffer_write(fault, words)
        finally:
            self._thaw(late)

    def turn(self, words: Sequence[int]) -> list[int]:
        """Send the output block and read the input block, or suffer the fault of the next frame."""
        self._next_frame()
        return self._words(words)

    def close(self) -> None:
        """Close the link inside."""
        self._link.close()

    def _next_frame(self) -> None:
        self._frame += 1
        fault = self._schedule.get(self._frame)
        if fault is not None:
            self._fault, self._until = fault, self._frame + fault.frames
        elif self._fault is not None and self._frame >= self._until:
            self._fault = None

    def _words(self, out: Sequence[int] | None) -> list[int]:
        """Reply of this frame as the controller sees it; out None = a plain read."""
        fault = self._fault
        late, self._late = self._late, None
        if fault is not None and not _acts(fault):
            if fault.kind == "late-request" and out is not None:
                self._late = list(out)
            self._thaw(late)
            raise self._error(fault)
        words = self._link.read() if out is None else self._link.turn(out)
        self._thaw(late)
        before, self._last = self._last, words
        if fault is None:
            return words
        return self._spoil(fault, words, before)

    def _spoil(self, fault: Fault, words: list[int], before: list[int] | None) -> list[int]:
        """What arrives of a reply that the device did send."""
        if fault.kind == "stale":
            self._count("stale")
            if before is None:
                raise self._error(Fault(kind="lost-reply"))
            self._last = before  # a frozen reply stays the same for as long as the fault lasts
            return list(before)
        if fault.kind == "bit-flip" and fault.word < len(words):
            self._count("bit-flip")
            spoilt = list(words)
            spoilt[fault.word] ^= 1 << fault.bit
            return spoilt
        raise self._error(fault)

    def _suffer_write(self, fault: Fault, words: Sequence[int]) -> None:
        if _acts(fault):
            self._link.write(words)
        elif fault.kind == "late-request":
            self._late = list(words)
        raise self._error(fault)

    def _thaw(self, late: list[int] | None) -> None:
        """Deliver a block that was held up; nobody waits for its answer any more."""
        if late is not None:
            self._count("late-request")
            self._link.write(late)

    def _error(self, fault: Fault) -> LinkError:
        if fault.kind == "exception":
            kind, text = f"exception-{fault.code}", EXCEPTIONS.get(fault.code, ("unknown", ""))[0]
        else:
            kind, text = _KINDS.get(fault.kind, ("wrong-length", "no such word"))
        self._count(kind)
        return LinkError(kind, f"frame {self._frame}: {text} (scheduled fault {fault.kind})")

    def _count(self, kind: str) -> None:
        self.counts[kind] = self.counts.get(kind, 0) + 1


def _acts(fault: Fault) -> bool:
    """True if the device sees and obeys the request."""
    return fault.kind in ("lost-reply", "stale", "wrong-length", "bit-flip")
