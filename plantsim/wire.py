"""A wire between client and device that can be made bad: a TCP proxy for Modbus frames, with faults on real sockets.

It knows frames, no controller and no chamber. Besides the kinds of the room "wire" it has a few that exist only where
there are bytes and sockets: ONLY_HERE.
"""

from __future__ import annotations

import contextlib
import os
import socket
import struct
import threading
from collections.abc import Callable, Sequence
from typing import Final

from plantsim.faults import Fault, amount_of
from plantsim.frames import MANNERS, WRITES, Content, Where, misshapen, pieces, refusal, whole
from plantsim.peers import peers_of

# A reply cut off by an orderly end; one in pieces, each in good time; one that comes twice in one piece; one whose
# header counts more bytes than it has (fewer with an amount below 0); a host that takes connections and never answers.
ONLY_HERE: Final = ("cut", "split", "coalesced", "false-length", "swallowed")
_KEPT_AWAY: Final = ("lost-request", "late-request", "swallowed", "exception")
_LOOK_S = 0.02
_DEVICE_S = 10.0


class Wire:
    """Leads every client to one device. due: the faults that act now, asked for each request with its number from 0,
    and between requests with that of the next one.

    to: (host, port) of the device. port 0 takes any free one; `port` tells which after start(). timeout_s: how long
    the client waits for a reply, the measure of slow and late. where: register that a fault's target stands for.
    refuses: False = a connection that should be refused is taken, and reset at its first request, where somebody must
    count in requests how long that lasts. counts: requests seen, and every fault by its kind, as often as it struck.
    kept: writes kept away from the device since the last one that it got.
    """

    def __init__(
        self,
        to: tuple[str, int],
        due: Callable[[int], Sequence[Fault]],
        *,
        host: str = "127.0.0.1",
        port: int = 0,
        timeout_s: float = 0.25,
        where: Where | None = None,
        refuses: bool = True,
    ) -> None:
        self.host, self.port = host, port
        self.counts: dict[str, int] = {"requests": 0}
        self.kept = 0
        self._refuses = refuses
        self._to, self._due, self._timeout_s = to, due, timeout_s
        self._content = Content(where or {})
        self._lock = threading.Lock()  # around the device: one request at a time, whoever sent it
        self._device: socket.socket | None = None
        self._held: bytes | None = None
        self._stopping = threading.Event()
        self._quiet = threading.Condition()
        self._busy = 0
        self._clients: dict[socket.socket, threading.Thread] = {}
        self._listener: socket.socket | None = None
        self._thread: threading.Thread | None = None

    def start(self) -> int:
        """Listen; return the port. OSError when host and port cannot be had."""
        self._listen()
        self._thread = threading.Thread(target=self._run, name="wire", daemon=True)
        self._thread.start()
        return self.port

    def stop(self) -> None:
        """Cut every connection and free the port."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join()
        self._refuse()
        for thread in list(self._clients.values()):
            thread.join(timeout=5.0)
        self._hang_up()

    @property
    def peers(self) -> list[str]:
        """Who is connected, as address:port."""
        return peers_of(self._clients)

    def settle(self, timeout_s: float = 30.0) -> None:
        """Wait until nothing that a request has caused is still on its way. TimeoutError when that lasts too long."""
        with self._quiet:
            if not self._quiet.wait_for(lambda: self._busy == 0, timeout_s):
                raise TimeoutError(f"the wire is still busy after {timeout_s:g} s")

    def __enter__(self) -> Wire:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def _listen(self) -> None:
        try:
            listener = socket.create_server((self.host, self.port))
        except OSError as error:
            reason = os.strerror(error.errno) if error.errno else str(error)
            text = f"cannot listen on {self.host} port {self.port}: {reason}; stop what holds it or choose another port"
            raise OSError(error.errno, text) from error
        listener.settimeout(_LOOK_S)
        self.port = int(listener.getsockname()[1])
        self._listener = listener

    def _refuse(self) -> None:
        """Nobody there any more."""
        if self._listener is not None:
            self._listener.close()
            self._listener = None
        for client in list(self._clients):
            _reset(client)

    def _run(self) -> None:
        while not self._stopping.is_set():
            kinds = {fault.kind for fault in self._due(self.counts["requests"])}
            away = self._refuses and "disconnected" in kinds
            if away and self._listener is not None:
                self._refuse()
                self._count("disconnected")  # only now: whoever has seen it counted is refused
            elif not away and self._listener is None:
                with contextlib.suppress(OSError):  # taken by somebody meanwhile: tried again
                    self._listen()
            if self._listener is None or "swallowed" in kinds:
                self._stopping.wait(_LOOK_S)
                continue
            with contextlib.suppress(TimeoutError):
                client, _ = self._listener.accept()
                thread = threading.Thread(target=self._serve, args=(client,), name="wire client", daemon=True)
                self._clients[client] = thread
                thread.start()

    def _serve(self, client: socket.socket) -> None:
        """Requests of one client until either side hangs up, or sends what is no Modbus."""
        pending = b""
        try:
            client.settimeout(None)
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            while chunk := client.recv(1024):
                pending += chunk
                while (size := whole(pending)) is not None and len(pending) >= size:
                    request, pending = pending[:size], pending[size:]
                    self._turn(client, request)
        except (OSError, ValueError):
            pass
        finally:
            client.close()
            self._clients.pop(client, None)

    def _turn(self, client: socket.socket, request: bytes) -> None:
        with self._quiet:
            self._busy += 1
        try:
            with self._lock:
                faults = tuple(self._due(self.counts["requests"]))
                self._count("requests")
                if any(fault.kind == "disconnected" for fault in faults):
                    self._keep(request)
                    raise _reset(client)
                replies = self._through(faults, request)
            self._deliver(client, faults, replies)
        finally:
            with self._quiet:
                self._busy -= 1
                self._quiet.notify_all()

    def _through(self, faults: Sequence[Fault], request: bytes) -> list[bytes]:
        """What the device is asked, and its replies as they leave it (none, one or two)."""
        late, self._held = self._held, None
        try:
            kept = next((fault for fault in reversed(faults) if fault.kind in _KEPT_AWAY), None)
            if kept is not None:
                self._count(kept.kind)
                self._keep(request)
                if kept.kind == "late-request" and request[7] in WRITES:
                    self._held = request
                return [refusal(request, int(amount_of(kept)))] if kept.kind == "exception" else []
            self.kept = 0 if request[7] in WRITES else self.kept
            twice = any(fault.kind == "duplicated" for fault in faults)
            answers = [self._ask(request) for _ in range(1 + twice)]
        finally:
            if late is not None:
                self._ask(late)
        shown = self._content(faults, request, answers[0])
        if shown is None:
            self._count("stale")
            return []
        for fault in faults:
            self._count(fault.kind)
        return [shown, *answers[1:]]

    def _deliver(self, client: socket.socket, faults: Sequence[Fault], replies: list[bytes]) -> None:
        """Send the replies in the manner of the fault that began last and has one."""
        if not replies:
            return
        reply = replies[0]
        for fault in reversed(faults):
            reply = misshapen(fault, reply)
            if reply != replies[0]:
                break
        manner = next((fault.kind for fault in reversed(faults) if fault.kind in MANNERS), "")
        for pause, piece in pieces(manner, reply):
            self._stopping.wait(pause * self._timeout_s)
            client.sendall(piece)
        if manner == "reset":
            raise _reset(client)
        if manner == "cut":
            client.shutdown(socket.SHUT_RDWR)
        for again in replies[1:]:
            self._stopping.wait(_LOOK_S)
            client.sendall(again)

    def _ask(self, request: bytes) -> bytes:
        """The device's reply. OSError when it is gone; whoever asks hangs up then."""
        try:
            if self._device is None:
                self._device = socket.create_connection(self._to, timeout=_DEVICE_S)
                self._device.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._device.sendall(request)
            reply = b""
            while (size := whole(reply)) is None or len(reply) < size:
                chunk = self._device.recv(1024)
                if not chunk:
                    raise ConnectionResetError("the device hung up")
                reply += chunk
        except (OSError, ValueError):
            self._hang_up()
            raise
        return reply

    def _keep(self, request: bytes) -> None:
        self.kept += request[7] in WRITES

    def _hang_up(self) -> None:
        if self._device is not None:
            self._device.close()
            self._device = None

    def _count(self, kind: str) -> None:
        self.counts[kind] = self.counts.get(kind, 0) + 1


def _reset(client: socket.socket) -> ConnectionResetError:
    """Have the thread that serves it close it with a reset, as a device does that was switched off and on."""
    with contextlib.suppress(OSError):
        client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        client.shutdown(socket.SHUT_RD)  # wakes a thread that waits for a request; says nothing to the other side
    return ConnectionResetError("reset by a fault")
