"""Who is at the other end of connections."""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Iterable


def peers_of(connections: Iterable[socket.socket]) -> list[str]:
    """As address:port, in the order given; one that has just gone is left out."""
    found = []
    for connection in list(connections):
        with contextlib.suppress(OSError):
            host, port, *_ = connection.getpeername()
            found.append(f"{host}:{port}")
    return found
