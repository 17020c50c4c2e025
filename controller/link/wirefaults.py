"""What a wire, a switch or a device on it can do to an exchange: every kind, and which of them act in which frame.

Frame 0 is the first read or turn, and each further read or turn is the next one; a write belongs to the frame that
was read before it. Counted, not timed, so that a schedule repeats exactly.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated, Final, Literal

from annotated_types import Ge, Le

from controller.errors import LinkError
from controller.link.pdu import EXCEPTIONS

FaultKind = Literal[
    "lost-request",  # the device never sees it
    "slow-reply",  # the reply comes late, but in time
    "lost-reply",  # the device acts; its reply comes after the time-out or never
    "late-request",  # lost for now; reaches the device after the next exchange, as a thawed socket does it
    "duplicated",  # the device gets it twice; the second reply is found before the next exchange and thrown away
    "stale",  # the device acts, but the reply is that of an earlier frame
    "wrong-unit",  # here and below: the device acts, its reply is refused for this
    "wrong-transaction",
    "wrong-protocol",
    "exception",  # the device refuses with `code`
    "wrong-function",
    "fewer-registers",
    "more-registers",
    "broken-frame",  # half a reply, the rest after the time-out
    "reset",  # the connection is reset in the middle of the reply
    "disconnected",  # nobody there
    "stuck-register",  # here and below: the device acts, the words of its reply are spoilt. `word` keeps its value
    "byte-swapped",  # the two bytes of every word change places
    "word-swapped",  # neighbouring words change places
    "bit-flip",  # `bit` of `word` is turned over
]

# kind -> the LinkError that a strict client raises, and its text; kinds that are not here raise none
_ERRORS: Final[dict[str, tuple[str, str]]] = {
    "lost-request": ("timeout", "no reply"),
    "late-request": ("timeout", "no reply"),
    "lost-reply": ("timeout", "no reply"),
    "broken-frame": ("timeout", "half a reply"),
    "wrong-unit": ("wrong-header", "another unit replies"),
    "wrong-transaction": ("wrong-header", "the reply is for another transaction"),
    "wrong-protocol": ("wrong-header", "the reply has another protocol"),
    "wrong-function": ("wrong-function", "the reply has another function"),
    "fewer-registers": ("wrong-length", "the reply is a word short"),
    "more-registers": ("wrong-length", "the reply has a word too many"),
    "reset": ("closed", "the connection was reset"),
    "disconnected": ("refused", "connection refused"),
}
_KEPT_AWAY: Final = frozenset(("lost-request", "late-request", "exception", "disconnected"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault for `frames` frames on end, None = for ever. code: for "exception"; word, bit: as the kind needs it."""

    kind: FaultKind
    frames: Annotated[int, Ge(1), Le(100_000_000)] | None = 1
    code: Annotated[int, Ge(1), Le(255)] = 4
    word: Annotated[int, Ge(0), Le(4096)] = 0
    bit: Annotated[int, Ge(0), Le(15)] = 0

    @property
    def keeps_away(self) -> bool:
        """The device does not act on the request."""
        return self.kind in _KEPT_AWAY

    def error(self, frame: int) -> LinkError | None:
        """What a strict client raises; None for a fault that it does not see in the reply's form."""
        if self.kind == "exception":
            kind, text = f"exception-{self.code}", EXCEPTIONS.get(self.code, ("unknown", ""))[0]
        elif self.kind in _ERRORS:
            kind, text = _ERRORS[self.kind]
        else:
            return None
        return LinkError(kind, f"frame {frame}: {text} (scheduled fault {self.kind})")


Schedule = Mapping[int, Fault] | Iterable[tuple[int, Fault]]
_NEVER: Final = 1 << 62


class Script:
    """Which faults act in the frame that is up. schedule: frame -> Fault that begins there, or pairs of them."""

    def __init__(self, schedule: Schedule) -> None:
        pairs = schedule.items() if isinstance(schedule, Mapping) else schedule
        self._all = sorted(pairs, key=lambda pair: pair[0])
        self.frame = -1
        self.active: tuple[Fault, ...] = ()
        self._change = min((first for first, _ in self._all), default=_NEVER)

    def advance(self) -> None:
        """The next frame. Of several faults the one that began last stands last in `active`."""
        self.frame += 1
        if self.frame < self._change:
            return
        spans = [(first, _NEVER if fault.frames is None else first + fault.frames, fault) for first, fault in self._all]
        self.active = tuple(fault for first, end, fault in spans if first <= self.frame < end)
        self._change = min((when for span in spans for when in span[:2] if when > self.frame), default=_NEVER)

    def kept_away(self) -> Fault | None:
        """The fault for which the device does not get this request, if one acts."""
        return next((fault for fault in reversed(self.active) if fault.keeps_away), None)

    def error(self) -> LinkError | None:
        """What the reply of this frame is refused for, if it is."""
        for fault in reversed(self.active):
            trouble = fault.error(self.frame)
            if trouble is not None:
                return trouble
        return None
