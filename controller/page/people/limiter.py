"""How often somebody may try: after a few failures each further one costs a longer wait."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

FREE = 5  # failures without a wait
FIRST_S, LONGEST_S = 15.0, 900.0
FORGET_S = 3600.0
_KEYS_MAX = 10_000


class Pace:
    """How many requests somebody may send: so many at once, then so many a second. Flooding the page gets short, cheap
    answers, and leaves the processor to control."""

    def __init__(self, at_once: float, per_s: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._at_once, self._per_s, self._clock = at_once, per_s, clock
        self._left: dict[str, tuple[float, float]] = {}

    def takes(self, key: str) -> bool:
        """Whether one more request of this sender is served now."""
        now = self._clock()
        if len(self._left) > _KEYS_MAX:
            self._left.clear()
        left, at = self._left.get(key, (self._at_once, now))
        left = min(self._at_once, left + (now - at) * self._per_s)
        if left < 1.0:
            self._left[key] = (left, now)
            return False
        self._left[key] = (left - 1.0, now)
        return True


class Limiter:
    """Failures by key (a name, an address). Kept in memory: a restart of the page forgives."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._failed: dict[str, tuple[int, float]] = {}

    def wait_s(self, *keys: str) -> float:
        """How long to wait before the next try, 0 = not at all."""
        now = self._clock()
        with self._lock:
            return max((self._wait(key, now) for key in keys), default=0.0)

    def failed(self, *keys: str) -> None:
        """A try failed."""
        now = self._clock()
        with self._lock:
            if len(self._failed) > _KEYS_MAX:
                self._failed = {key: row for key, row in self._failed.items() if now - row[1] < FORGET_S}
            for key in keys:
                count, at = self._failed.get(key, (0, now))
                self._failed[key] = (1 if now - at > FORGET_S else count + 1, now)

    def passed(self, *keys: str) -> None:
        """A try went well: forget the failures."""
        with self._lock:
            for key in keys:
                self._failed.pop(key, None)

    def _wait(self, key: str, now: float) -> float:
        count, at = self._failed.get(key, (0, now))
        if count < FREE:
            return 0.0
        wait = min(LONGEST_S, FIRST_S * 2.0 ** (count - FREE))
        return max(0.0, at + wait - now)
