"""A bound on everything that is done with a socket: the library's time-outs are per answer, a slow server has many."""

from __future__ import annotations

import socket
import threading
from contextlib import suppress
from types import TracebackType


class Deadline:
    """Shuts the sockets it was given down when its time is over, also in the middle of a TLS handshake."""

    def __init__(self, seconds: float) -> None:
        self._kept: list[socket.socket] = []
        self._over = threading.Event()
        self._timer = threading.Timer(seconds, self._end)
        self._timer.daemon = True

    def __enter__(self) -> Deadline:
        self._timer.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._timer.cancel()
        self._timer.join()
        for one in self._kept:
            one.close()

    @property
    def over(self) -> bool:
        """Did the time run out?"""
        return self._over.is_set()

    def keep(self, connection: socket.socket) -> socket.socket:
        """Watch this connection; returns it. A second handle is kept: TLS takes the first one away."""
        self._kept.append(connection.dup())
        if self.over:
            self._end()
        return connection

    def _end(self) -> None:
        self._over.set()
        for one in list(self._kept):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
