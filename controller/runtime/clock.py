"""Where time comes from. A clock waits for the deadline of a scan and stamps it with UTC; nothing else does.

Deadlines are absolute, so lateness of one scan does not move the next. dt of a scan never stretches: a clock that
fell more than a scan behind leaves the missed deadlines out and counts them.
"""

from __future__ import annotations

import time
from typing import Protocol


class Clock(Protocol):
    """Tells the loop when to scan."""

    @property
    def lockstep(self) -> bool:
        """True when the device moves only when it is written, so that a turn replaces read and write."""
        ...

    @property
    def missed(self) -> int:
        """Deadlines that passed without a scan."""
        ...

    def wait(self) -> float:
        """Wait until the next scan is due; returns how late it is, s (0 = in time)."""
        ...

    def utc_ms(self, scan: int, /) -> int:
        """UTC of this scan, ms since 1970-01-01."""
        ...


class LockstepClock:
    """No waiting; scan n happens at start + n scans of simulated UTC."""

    lockstep = True

    def __init__(self, start_utc_ms: int, scan_s: float) -> None:
        self.missed = 0
        self._start_ms = start_utc_ms
        self._scan_ms = 1000.0 * scan_s

    def wait(self) -> float:
        """At once."""
        return 0.0

    def utc_ms(self, scan: int, /) -> int:
        """Simulated UTC."""
        return self._start_ms + round(scan * self._scan_ms)


class PacedClock(LockstepClock):
    """A simulated device at `factor` times real time, so that people can follow; slower when the machine is."""

    def __init__(self, start_utc_ms: int, scan_s: float, factor: float) -> None:
        super().__init__(start_utc_ms, scan_s)
        self._deadlines = _Deadlines(scan_s / factor)

    def wait(self) -> float:
        """Wait for the pace. Falling behind costs nothing: the device waits too."""
        self._deadlines.wait()
        return 0.0


class RealClock:
    """One scan every scan_s of the monotonic clock, stamped with the computer's UTC."""

    lockstep = False

    def __init__(self, scan_s: float) -> None:
        self._deadlines = _Deadlines(scan_s)

    @property
    def missed(self) -> int:
        """Deadlines that passed without a scan."""
        return self._deadlines.missed

    def wait(self) -> float:
        """Sleep until the next deadline."""
        return self._deadlines.wait()

    def utc_ms(self, _scan: int, /) -> int:
        """UTC now."""
        return time.time_ns() // 1_000_000


class _Deadlines:
    """Absolute deadlines of the monotonic clock, the first one at the first call."""

    def __init__(self, period_s: float) -> None:
        self._period_ns = round(1e9 * period_s)
        self._next_ns: int | None = None
        self.missed = 0

    def wait(self) -> float:
        now = time.monotonic_ns()
        if self._next_ns is None:
            self._next_ns = now
        due = self._next_ns
        if now < due:
            time.sleep(1e-9 * (due - now))
            now = time.monotonic_ns()
        late = now - due
        skipped = late // self._period_ns
        self.missed += skipped
        self._next_ns = due + (1 + skipped) * self._period_ns
        return 1e-9 * late
