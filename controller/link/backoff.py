"""When a device that cannot be reached may be tried again: after 0.5, 1, 2, 4, ... 30 s."""

from __future__ import annotations

from collections.abc import Callable


class Backoff:
    """A gate that shuts for longer after each failure. monotonic: seconds, from the caller's clock."""

    def __init__(self, monotonic: Callable[[], float], *, first_s: float = 0.5, longest_s: float = 30.0) -> None:
        self._monotonic = monotonic
        self._first_s, self._longest_s = first_s, longest_s
        self._pause_s = 0.0
        self._open_at_s = 0.0
        self.reason = ""

    def failed(self, reason: str) -> None:
        """Shut for twice the last pause, at most longest_s."""
        self._pause_s = min(self._longest_s, 2.0 * self._pause_s) if self._pause_s else self._first_s
        self._open_at_s = self._monotonic() + self._pause_s
        self.reason = reason

    def succeeded(self) -> None:
        """Open, and begin with the shortest pause next time."""
        self._pause_s = 0.0
        self.reason = ""

    def wait_s(self) -> float:
        """Seconds until the next attempt is allowed; 0 = now."""
        if not self._pause_s:
            return 0.0
        return max(0.0, self._open_at_s - self._monotonic())
