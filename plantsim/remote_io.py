"""The device without a socket: register image, heartbeat rules, output watchdog, around one chamber model.

Device time is the heartbeat. A written block is newer when (h - last) mod 65536 is 1..32767; anything else is
dropped and counted, so a frame that comes late changes nothing. A device that has just started takes the first
heartbeat it sees. In lockstep a newer block makes the device live h - last scans, all but the last with the old
outputs while its watchdog counts, the last with the new ones. At most 3,600 scans are lived per block: after a
longer jump the echo says how far the device got, the block's outputs are not taken yet, and whoever writes goes on
writing newer heartbeats until the echo is the heartbeat he sent. No scan is skipped. In real time, tick() lives one.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from plantsim.terminals import OUTPUT_HEADER_WORDS, Bound, DeviceMap, Terminal, Wiring, bind, wiring_of

__all__ = ["ChamberLike", "DeviceMap", "RemoteIo", "Terminal", "Wiring", "wiring_of"]

NEWER_MAX = 32767
SCANS_PER_BLOCK_MAX = 3600
STATUS_WATCHDOG, STATUS_FAULT, STATUS_SIMULATED = 1, 2, 4
_COUNTER, _ECHO, _STALE, _TRIPS = 2, 5, 6, 7  # in two words the counter, then a status word, then the echo


class ChamberLike(Protocol):
    """What the device needs of a chamber model. microamps and contacts are read after every step.

    contacts is replaced when something in it changes, never changed in place: the device looks again only then.
    set_spans tells it which values its transmitters show as 4 and 20 mA: that stands in the point list only.
    """

    @property
    def dt_s(self) -> float: ...
    @property
    def microamps(self) -> Sequence[int]: ...
    @property
    def contacts(self) -> Any: ...
    def step(self, outputs: Sequence[float], /) -> object: ...
    def set_spans(self, spans: Mapping[str, tuple[float, float]], /) -> object: ...


class RemoteIo:
    """Remote I/O of the simulated panel. Not thread-safe by itself: Server keeps one lock around it."""

    def __init__(
        self, chamber: ChamberLike, terminals: Sequence[Terminal], device: DeviceMap, wiring: Wiring, *, lockstep: bool
    ) -> None:
        """The chamber must be started: its microamps are shown at once. ValueError if anything is wired wrongly."""
        self.device = device
        self.lockstep = lockstep
        self._chamber = chamber
        self._bound: Bound = bind(terminals, device, wiring)
        chamber.set_spans({t.tag: (t.lo, t.hi) for t in terminals if t.kind == "AI"})
        self.dt_s = float(chamber.dt_s)
        self._last: int | None = None
        self._silent_s = 0.0
        self._tripped = False
        self._counter = self._stale = self._trips = 0
        self._fault = False
        self._safe = [0, 0, *self._bound.safe]
        self._out = list(self._safe)
        self._out_seen: Sequence[int] = self._bound.safe
        self._switched: list[int] | None = None
        self._values = [0.0] * len(wiring.actuators)
        self._actuators = self._decode(self._safe)
        self._words = [0] * device.input_count
        self._words[0], self._words[1] = device.signature, device.map_version
        self._contacts: object = None
        self._refresh()

    def prepare(self) -> None:
        """Have the chamber's kernel compiled now, so that no turn waits for it; no scan is lived.

        A chamber that has no compile() of its own is copied, and the copy lives one step.
        """
        compile_kernel = getattr(self._chamber, "compile", None)
        if compile_kernel is not None:
            compile_kernel()
        else:
            copy.deepcopy(self._chamber).step(self._actuators)

    def read(self) -> list[int]:
        """The input block as it stands; reading feeds no watchdog and lives no scan."""
        return self._words[:]

    def turn(self, words: Sequence[int]) -> list[int]:
        """Write, then read: one round trip."""
        self.write(words)
        return self._words[:]

    def write(self, words: Sequence[int]) -> None:
        """Take one output block: heartbeat, scan_ms, then the absolute outputs. ValueError if it is not whole."""
        if len(words) != self.device.output_count:
            raise ValueError(f"output block of {len(words)} words, this device has {self.device.output_count}")
        h = words[0]
        last = self._last
        ahead = 1 if last is None else (h - last) & 0xFFFF
        if not 1 <= ahead <= NEWER_MAX:
            self._stale = (self._stale + 1) & 0xFFFF
            self._words[_STALE] = self._stale
            return
        if not self.lockstep:
            self._take(words)
            self._header()
            return
        if ahead > 1:
            past = min(ahead - 1, SCANS_PER_BLOCK_MAX)
            self._catch_up(past)
            if past < ahead - 1:
                self._last = (h - ahead + past) & 0xFFFF
                self._refresh()
                return
        self._take(words)
        self._live()
        self._refresh()

    def tick(self) -> None:
        """One scan of real time: the watchdog counts, the chamber goes on."""
        self._catch_up(1)
        self._refresh()

    @property
    def words_out(self) -> list[int]:
        """The output block in force: what was last taken, or the safe values after a watchdog trip."""
        return self._out[:]

    @property
    def tripped(self) -> bool:
        """True from a watchdog trip to the next fresh block."""
        return self._tripped

    @property
    def trips(self) -> int:
        """Watchdog trips since the device started, modulo 65536; a fresh block does not clear it."""
        return self._trips

    @property
    def orders(self) -> tuple[float, ...]:
        """What every actuator of the wiring gets, in its order: percent, or 0 and 1; safe values after a trip."""
        return self._actuators

    @property
    def heartbeat(self) -> int | None:
        """The newest heartbeat that was taken; None before the first."""
        return self._last

    @property
    def silent_s(self) -> float:
        """Time of the device since then; stands still in lockstep, where its time waits for the next."""
        return self._silent_s

    @property
    def scans(self) -> int:
        """Scans lived since the device started, modulo 2**32."""
        return self._counter

    def set_fault(self, on: bool) -> None:
        """Set or clear the fault bit of the status word, as a module with a broken channel does."""
        self._fault = on
        self._header()

    def _take(self, words: Sequence[int]) -> None:
        self._last = words[0]
        self._silent_s = 0.0
        self._tripped = False
        self._out = list(words)
        values = words[OUTPUT_HEADER_WORDS:]
        if values != self._out_seen:
            self._out_seen = values
            self._actuators = self._decode(words)

    def _catch_up(self, scans: int) -> None:
        """Live scans without news. The watchdog guards only a device that has had a master."""
        for _ in range(scans):
            if self._last is not None and not self._tripped:
                self._silent_s += self.dt_s
                # A hair below: ten steps of 0.1 s must make one second.
                if self._silent_s >= self.device.watchdog_s - 1e-9:
                    self._trip()
            self._live()

    def _trip(self) -> None:
        self._tripped = True
        self._trips = (self._trips + 1) & 0xFFFF
        self._out = [*self._out[:OUTPUT_HEADER_WORDS], *self._bound.safe]
        self._out_seen = self._bound.safe
        self._actuators = self._decode(self._safe)

    def _live(self) -> None:
        self._counter = (self._counter + 1) & 0xFFFFFFFF
        self._chamber.step(self._actuators)

    def _decode(self, words: Sequence[int]) -> tuple[float, ...]:
        """What each actuator gets: 0.0 or 1.0 from a bit, or a word scaled and clipped to its range."""
        bound, values = self._bound, self._values
        switched = [words[at] for at in bound.bit_words]
        if switched != self._switched:
            self._switched = switched
            for n, at, mask in bound.bits:
                values[n] = 1.0 if words[at] & mask else 0.0
        for n, at, raw_lo, gain, lo, hi in bound.scales:
            value = lo + (words[at] - raw_lo) * gain
            values[n] = lo if value < lo else hi if value > hi else value
        return tuple(values)

    def _refresh(self) -> None:
        """Bring the input block up to date: gather analog inputs, pack contacts, write the header."""
        words, chamber, bound = self._words, self._chamber, self._bound
        microamps = chamber.microamps
        for first, end, gather in bound.analog:
            words[first:end] = gather(microamps)
        contacts = chamber.contacts
        if contacts is not self._contacts:
            self._contacts = contacts
            for word in bound.contact_words:
                words[word] = 0
            for closed, (word, mask) in zip(bound.contacts(contacts), bound.masks, strict=True):
                if closed:
                    words[word] |= mask
        self._header()

    def _header(self) -> None:
        status = STATUS_SIMULATED
        if self._fault or self._tripped:
            status |= (STATUS_FAULT if self._fault else 0) | (STATUS_WATCHDOG if self._tripped else 0)
        counter = self._counter
        self._words[_COUNTER : _ECHO + 1] = counter >> 16, counter & 0xFFFF, status, self._last or 0
        self._words[_TRIPS] = self._trips
