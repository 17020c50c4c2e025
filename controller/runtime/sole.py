"""One controller a device: the second one refuses to start, whatever folder it records in, and says who is there.

On this computer a device is claimed by a name that the kernel forgets when the process ends, however it ends. A
controller on another one shows in the device: its heartbeat moves although nobody here writes it.
"""

from __future__ import annotations

import os
import socket
import struct
import time
from collections.abc import Callable, Iterable
from contextlib import closing, suppress
from pathlib import Path
from types import TracebackType
from typing import Protocol

from controller.core.frames import RawInputs
from controller.errors import StoreError, UnavailableError
from controller.store.reader import Reader
from controller.store.schema import is_begun

WATCH_S = 5.5  # a controller in real time writes at least every 5 s
GLANCE_S = 0.3  # where nobody has written yet, or we were the last
OURS_SCANS = 3  # of our last scans the record may miss so many
_LOOK_S = 0.05


class Address(Protocol):
    """Of a device."""

    @property
    def name(self) -> str: ...
    @property
    def host(self) -> str: ...
    @property
    def port(self) -> int: ...


class Decoder(Protocol):
    """Turns words of the device into inputs."""

    def decode(self, words: list[int], /) -> RawInputs:
        """Inputs of these words."""
        ...


class DeviceClaim:
    """Held while a controller runs: every device it commands, on this computer. Raises UnavailableError."""

    def __init__(self, devices: Iterable[Address]) -> None:
        self._devices = tuple(devices)
        self._held: list[socket.socket] = []

    def __enter__(self) -> DeviceClaim:
        for device in self._devices:
            name = f"\0dewhold device {_resolved(device.host)}:{device.port}"  # abstract: no file that can be left over
            claim = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            try:
                claim.bind(name)
            except OSError:
                claim.close()
                self._let_go()
                raise UnavailableError(
                    f"another controller{_process_of(name)} on this computer commands {device.name} at"
                    f" {device.host}:{device.port}; two would fight over one chamber: stop that one first"
                ) from None
            claim.listen(1)
            self._held.append(claim)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._let_go()

    def _let_go(self) -> None:
        for claim in self._held:
            claim.close()
        self._held.clear()


def require_sole(
    read: Callable[[], list[int]], decode: Callable[[list[int]], RawInputs], where: str, *, own: int | None,
    watch_s: float,
    clock_s: Callable[[], float] = time.monotonic, sleep: Callable[[float], None] = time.sleep,
) -> RawInputs:
    """Look for watch_s whether the device's heartbeat moves, which nobody here moves. Returns the first inputs.

    read: the words that the device shows now. own: heartbeat of the last block that this record's controller wrote,
    None when there is none: if the device shows it, or was never written, a glance is enough. Raises UnavailableError,
    or LinkError for a device that is not there.
    """
    first = decode(read())
    mine = own is not None and (first.echo - own) & 0xFFFF <= OURS_SCANS
    if mine or first.echo == 0:
        watch_s = min(watch_s, GLANCE_S)
    began = clock_s()
    while clock_s() - began < watch_s:
        sleep(_LOOK_S)
        echo = decode(read()).echo
        if echo != first.echo:
            raise UnavailableError(
                f"another controller commands {where}: its heartbeat went from {first.echo} to {echo} within"
                f" {clock_s() - began:.1f} s, and nobody here writes it; two would fight over one chamber: stop that"
                " one first, perhaps on another computer"
            )
    return first


def own_heartbeat(record: Path, word: int = 0) -> int | None:
    """Heartbeat of the last block that a controller of this record wrote; None when nothing is known of it.

    word: where it stands among the words of the outputs.
    """
    with suppress(StoreError, ValueError, IndexError):
        if is_begun(record):
            with closing(Reader(record)) as reader:
                last = reader.last_scan()
                for row in reader.frames(last[0]) if last is not None else ():
                    return row.outputs[word]
    return None


def _resolved(host: str) -> str:
    """The address, so that two names of one device are one."""
    with suppress(OSError):
        return str(socket.getaddrinfo(host, None, type=socket.SOCK_STREAM)[0][4][0])
    return host


def _process_of(name: str) -> str:
    """Who holds a claim, as far as the kernel tells."""
    with suppress(OSError), closing(socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)) as asking:
        asking.settimeout(0.5)
        asking.connect(name)
        process, _user, _group = struct.unpack("3i", asking.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, 12))
        return f" (process {process})" if process != os.getpid() else " of this process"
    return ""
