"""Tells systemd that the service is ready, alive and what it does; nothing where nobody asked.

The protocol is a datagram of NAME=value lines to the socket that NOTIFY_SOCKET names (sd_notify(3)); twenty lines do
it, so no library is needed. WATCHDOG=1 is sent only by whoever really did something, a scan for example: a loop that
hangs falls silent, and systemd starts the program anew. Nothing here ever waits or raises.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Callable, Mapping
from contextlib import suppress

STATUS_EVERY_S = 10.0
_ALIVE_SHARE = 0.3  # of the watchdog's time between two signs of life


class Notifier:
    """One service. environment: what systemd has set (NOTIFY_SOCKET, WATCHDOG_USEC, WATCHDOG_PID)."""

    def __init__(
        self, environment: Mapping[str, str] | None = None, clock_s: Callable[[], float] = time.monotonic
    ) -> None:
        known = os.environ if environment is None else environment
        self._path = known.get("NOTIFY_SOCKET", "")
        self._clock_s = clock_s
        self._alive_s = _ALIVE_SHARE * _watchdog_s(known) if self._path else 0.0
        self._ready = False
        self._next_alive = self._next_status = 0.0
        self._socket: socket.socket | None = None
        if self._path:
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
            self._socket.setblocking(False)

    @property
    def wanted(self) -> bool:
        """Does anybody listen?"""
        return self._socket is not None

    def alive(self, status: Callable[[], str]) -> None:
        """Something was really done: ready after the first time, then signs of life, and now and then what it does."""
        if self._socket is None:
            return
        now = self._clock_s()
        lines = []
        if not self._ready:
            self._ready = True
            lines.append("READY=1")
        if self._alive_s and now >= self._next_alive:
            self._next_alive = now + self._alive_s
            lines.append("WATCHDOG=1")
        if now >= self._next_status:
            self._next_status = now + STATUS_EVERY_S
            lines.append(f"STATUS={' '.join(status().split())}")
        if lines:
            self._send("\n".join(lines))

    def stopping(self) -> None:
        """It ends in order from now on."""
        if self._socket is not None:
            self._send("STOPPING=1")

    def close(self) -> None:
        """No more is told."""
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _send(self, text: str) -> None:
        assert self._socket is not None
        address = "\0" + self._path[1:] if self._path.startswith("@") else self._path
        with suppress(OSError):  # full or gone: whoever listens draws the conclusion
            self._socket.sendto(text.encode(), address)


def _watchdog_s(known: Mapping[str, str]) -> float:
    """Time of systemd's watchdog, 0 when it does not watch this process."""
    if known.get("WATCHDOG_PID") not in (None, "", str(os.getpid())):
        return 0.0
    with suppress(ValueError):
        return max(0.0, 1e-6 * int(known.get("WATCHDOG_USEC", "0")))
    return 0.0
