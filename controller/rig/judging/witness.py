"""Looks on from between device and chamber, and from between controller and wire: what was really driven and sent."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from controller.link.protocol import Link

# of plantsim.chamber.OUTPUTS: what heats, and what fogs
HEATERS, FOGGERS = (2, 3, 8, 9, 10, 11), (5, 6)


class Witness:
    """A chamber as its device sees it. Counts how long heat or fog go on while no fresh block comes.

    beat: heartbeat of the block in force, set by whoever knows the device; unheard: steps since it changed.
    late: was that ever longer than the watchdog's time? unsafe_steps: so many steps heat or fog was on beyond it.
    """

    def __init__(self, chamber: Any, watchdog_s: float) -> None:
        self.dt_s = chamber.dt_s
        self.device: Any = None
        self.unheard = self.unsafe_steps = 0
        self.late = False
        self._chamber, self._step = chamber, chamber.step
        self._most: int = round(watchdog_s / chamber.dt_s)
        self._beat: int | None = None

    @property
    def microamps(self) -> Sequence[int]:
        """As of the chamber."""
        return self._chamber.microamps  # type: ignore[no-any-return]

    @property
    def contacts(self) -> Any:
        """As of the chamber."""
        return self._chamber.contacts

    def set_spans(self, spans: Mapping[str, tuple[float, float]], /) -> None:
        """As of the chamber."""
        self._chamber.set_spans(spans)

    def compile(self) -> None:
        """Nothing: whoever looks on has had it compiled."""

    def step(self, outputs: Sequence[float], /) -> None:
        """One step of the chamber, looked at."""
        device = self.device
        if device is not None:
            beat = device.words_out[0]
            self.unheard = 0 if beat != self._beat else self.unheard + 1
            self._beat = beat
            if self.unheard > self._most:
                self.late = True
                self.unsafe_steps += _dangerous(outputs)
        self._step(outputs)


class Overhearing:
    """A Link that remembers the last block of outputs which the controller sent."""

    def __init__(self, link: Link) -> None:
        self.sent: Sequence[int] = ()
        self.cut = False  # nothing that is written arrives any more
        self._link: Any = link
        self._turn = link.turn

    @property
    def counts(self) -> dict[str, int]:
        """As of the link."""
        return dict(self._link.counts)

    @property
    def tell(self) -> Any:
        """As of the link; AttributeError where it has nothing to tell."""
        return self._link.tell

    @tell.setter
    def tell(self, tell: Any) -> None:
        """As of the link."""
        self._link.tell = tell

    def read(self) -> list[int]:
        """As of the link."""
        return list(self._link.read())

    def write(self, words: Sequence[int]) -> None:
        """As of the link, remembered."""
        self.sent = words
        if not self.cut:
            self._link.write(words)

    def turn(self, words: Sequence[int]) -> list[int]:
        """As of the link, remembered."""
        self.sent = words
        return self._turn(words)

    def close(self) -> None:
        """As of the link."""
        self._link.close()


def _dangerous(outputs: Sequence[float]) -> bool:
    return any(outputs[n] > 0.0 for n in (*HEATERS, *FOGGERS) if n < len(outputs))
