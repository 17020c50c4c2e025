"""The simulated panel on a socket: Modbus TCP around a RemoteIo.

Three functions only: read holding registers (03), write multiple registers (10h), read/write multiple registers
(17h, writes before it reads). Everything else is an illegal function. The output block is taken whole and at its
exact place or not at all. pyModbusTCP listens and keeps a thread a connection; framing and meaning are decided
here, on the bytes: some microseconds less a turn, and one-byte requests get the answer that the library denies them.
"""

from __future__ import annotations

import contextlib
import errno
import logging
import socket
import struct
import threading
import time
from collections.abc import Callable

from pyModbusTCP.server import ModbusServer

from plantsim.peers import peers_of
from plantsim.remote_io import RemoteIo

log = logging.getLogger(__name__)

READ, WRITE, READ_WRITE = 0x03, 0x10, 0x17
ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_VALUE, DEVICE_FAILURE = 1, 2, 3, 4
# Limits of Modbus Application Protocol V1.1b3, sections 6.3, 6.12 and 6.17.
READ_MAX, WRITE_MAX, READ_WRITE_MAX = 125, 123, 121
_LATE_MAX_S = 10.0  # a host that slept longer, or a pace that cannot be reached, lets the missed ticks go
_BURST_S = 0.0003  # so long ticks may follow each other without a rest
_REST_S = 0.00005  # in which whoever waits for the lock gets it: a lock alone is not fair


class Server:
    """Serves one RemoteIo to any number of clients, one request at a time.

    In lockstep the chamber moves only when it is written; in real time a thread ticks it every dt (of its own time).
    """

    def __init__(self, remote_io: RemoteIo, host: str = "127.0.0.1", port: int = 0, *, pace: float = 1.0) -> None:
        """port 0 takes any free port; `port` tells which after start(). pace: seconds lived in a real second."""
        self.remote_io = remote_io
        self.host = host
        self.port = port
        self.lock = threading.Lock()  # held while a request or a tick is at work; take it to look at the chamber
        self._ticker = Ticker(remote_io, self.lock, pace)
        self._answer = Answerer(remote_io)
        self._listener: Listener | None = None

    def start(self) -> int:
        """Compile the model, listen, return the port. OSError when host and port cannot be had."""
        if self._listener is not None:
            return self.port
        self.remote_io.prepare()
        listener = Listener(self.host, self.port, self._reply)
        self.port = listener.listen()
        self._listener = listener
        if not self.remote_io.lockstep:
            self._ticker.start()
        return self.port

    def stop(self) -> None:
        """Close every connection and free the port; the chamber stays as it is. Harmless when not started."""
        self._ticker.stop()
        if self._listener is not None:
            self._listener.close()
            self._listener = None

    @property
    def ports(self) -> list[int]:
        """The port, as a panel of several devices has more than one."""
        return [self.port]

    @property
    def peers(self) -> list[str]:
        """Who is connected, as address:port."""
        return self._listener.peers if self._listener is not None else []

    def __enter__(self) -> Server:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def _reply(self, pdu: bytes) -> bytes:
        try:
            with self.lock:
                return self._answer(pdu)
        except Exception:
            log.exception("the simulated device failed on a request %s", pdu.hex())
            return bytes((pdu[0] | 0x80, DEVICE_FAILURE))


class Ticker:
    """Lives one scan of a RemoteIo every dt of real time, pace times as fast, in a thread of its own.

    missed: ticks let go because the host slept, or because this pace is more than it can reach.
    """

    def __init__(self, remote_io: RemoteIo, lock: threading.Lock, pace: float) -> None:
        self.missed = 0
        self._io, self._lock = remote_io, lock
        self._tick_s = remote_io.dt_s / pace
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to tick."""
        self._stopping.clear()
        self._thread = threading.Thread(target=self._run, name="device ticks", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """No tick comes after this returns. Harmless when not started."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def _run(self) -> None:
        tick_s = self._tick_s
        due = time.monotonic() + tick_s
        while not self._stopping.wait(max(due - time.monotonic(), _REST_S)):
            end = time.monotonic() + _BURST_S
            while True:
                with self._lock:
                    self._io.tick()
                due += tick_s
                now = time.monotonic()
                if now < due or now > end:
                    break
            if now - due > _LATE_MAX_S:
                self.missed += int((now - due) / tick_s)
                due = now + tick_s


class Answerer:
    """From request PDU to response PDU on one RemoteIo; no socket, no lock."""

    def __init__(self, remote_io: RemoteIo) -> None:
        device = remote_io.device
        self._io = remote_io
        self._in = (device.input_base, device.input_base + device.input_count)
        self._out = (device.output_base, device.output_base + device.output_count)
        self._place = (device.output_base, device.output_count)
        self._whole_input = (device.input_base, device.input_count)
        # A controller asks the same question every scan: the head of that request needs no second look.
        self._usual = struct.pack(">BHHHHB", READ_WRITE, *self._whole_input, *self._place, 2 * device.output_count)
        self._usual_size = 10 + 2 * device.output_count
        self._unpack_out = struct.Struct(f">{device.output_count}H").unpack_from
        self._in_bytes = 2 * device.input_count
        self._pack_in = struct.Struct(f">BB{device.input_count}H").pack

    def __call__(self, pdu: bytes) -> bytes:
        """Response PDU, an exception response where the request is not in order."""
        if pdu[:10] == self._usual and len(pdu) == self._usual_size:
            return self._pack_in(READ_WRITE, self._in_bytes, *self._io.turn(self._unpack_out(pdu, 10)))
        function = pdu[0]
        if function == READ_WRITE:
            return self._read_write(pdu)
        if function == READ:
            return self._read(pdu)
        if function == WRITE:
            return self._write(pdu)
        return bytes((function | 0x80, ILLEGAL_FUNCTION))

    def _read_write(self, pdu: bytes) -> bytes:
        if len(pdu) < 10:
            return bytes((0x80 | READ_WRITE, ILLEGAL_VALUE))
        read_at, read_n, write_at, write_n, size = _READ_WRITE_HEAD(pdu, 1)
        if not (1 <= read_n <= READ_MAX and 1 <= write_n <= READ_WRITE_MAX and size == 2 * write_n == len(pdu) - 10):
            return bytes((0x80 | READ_WRITE, ILLEGAL_VALUE))
        if (write_at, write_n) != self._place or not self._readable(read_at, read_n):
            return bytes((0x80 | READ_WRITE, ILLEGAL_ADDRESS))
        self._io.write(self._unpack_out(pdu, 10))
        return self._registers(READ_WRITE, read_at, read_n)

    def _read(self, pdu: bytes) -> bytes:
        if len(pdu) != 5:
            return bytes((0x80 | READ, ILLEGAL_VALUE))
        at, n = _HEAD(pdu, 1)
        if not 1 <= n <= READ_MAX:
            return bytes((0x80 | READ, ILLEGAL_VALUE))
        if not self._readable(at, n):
            return bytes((0x80 | READ, ILLEGAL_ADDRESS))
        return self._registers(READ, at, n)

    def _write(self, pdu: bytes) -> bytes:
        if len(pdu) < 6:
            return bytes((0x80 | WRITE, ILLEGAL_VALUE))
        at, n, size = _WRITE_HEAD(pdu, 1)
        if not (1 <= n <= WRITE_MAX and size == 2 * n == len(pdu) - 6):
            return bytes((0x80 | WRITE, ILLEGAL_VALUE))
        if (at, n) != self._place:
            return bytes((0x80 | WRITE, ILLEGAL_ADDRESS))
        self._io.write(self._unpack_out(pdu, 6))
        return pdu[:5]

    def _readable(self, at: int, n: int) -> bool:
        end = at + n
        return (self._in[0] <= at and end <= self._in[1]) or (self._out[0] <= at and end <= self._out[1])

    def _registers(self, function: int, at: int, n: int) -> bytes:
        inward = self._in[0] <= at < self._in[1]
        words = self._io.read() if inward else self._io.words_out
        first = at - (self._in[0] if inward else self._out[0])
        return struct.pack(f">BB{n}H", function, 2 * n, *words[first : first + n])


_MBAP = struct.Struct(">HHHB")
_MBAP_LENGTH = range(2, 255)  # unit id and a PDU of 1..253 bytes: Messaging on TCP/IP V1.0b, section 3.1.3, from memory
_ADU_MAX = 260
_HEAD = struct.Struct(">HH").unpack_from
_WRITE_HEAD = struct.Struct(">HHB").unpack_from
_READ_WRITE_HEAD = struct.Struct(">HHHHB").unpack_from


class Listener(ModbusServer):  # type: ignore[misc]  # pyModbusTCP carries no types
    """pyModbusTCP's server with three traits added: it says its port, stops at once, frees what it held."""

    def __init__(
        self, host: str, port: int, reply: Callable[[bytes], bytes], connections_max: int = 1000
    ) -> None:
        super().__init__(host=host, port=port, no_block=True, ext_engine=_unused_engine)
        self._reply = reply
        self._connections_max = connections_max
        self.connections: dict[socket.socket, threading.Thread] = {}

    def listen(self) -> int:
        """Listen and return the port. The socket is open when this returns."""
        try:
            self.start()
        except ModbusServer.NetworkError as error:
            self._service.server_close()
            cause = error.args[0] if error.args and isinstance(error.args[0], OSError) else None
            number = cause.errno if cause is not None and cause.errno else errno.EADDRNOTAVAIL
            text = f"cannot listen on {self.host} port {self.port}: {error}; stop what holds it or choose another port"
            raise OSError(number, text) from error
        except OSError:
            self._service.server_close()
            raise
        self._service.connections = self.connections
        self._service.reply = self._reply
        self._service.connections_max = self._connections_max
        self._evt_running.wait()  # stop() of the library does nothing before this
        return int(self._service.server_address[1])

    @property
    def peers(self) -> list[str]:
        """Who is connected, as address:port, those first who came first."""
        return peers_of(self.connections)

    def close(self) -> None:
        """Stop listening, cut the connections, wait for their threads."""
        self.stop()
        self._serve_th.join()
        for connection, thread in list(self.connections.items()):
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
            thread.join(timeout=5.0)

    def _serve(self) -> None:
        self._evt_running.set()
        try:
            self._service.serve_forever(poll_interval=0.05)
        finally:
            self._evt_running.clear()

    class ModbusService(ModbusServer.ModbusService):  # type: ignore[misc]
        """One connection. No receive time-out: close() cuts it, and every poll before a receive costs a turn."""

        def setup(self) -> None:
            self.request.settimeout(None)
            self.request.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self.server.connections[self.request] = threading.current_thread()

        def handle(self) -> None:
            """Answer request after request; hang up on what is not Modbus, as there is no way back into step."""
            if len(self.server.connections) > self.server.connections_max:
                return
            receive, send, reply = self.request.recv, self.request.sendall, self.server.reply
            pending = b""
            with contextlib.suppress(OSError):
                while chunk := receive(_ADU_MAX):
                    pending = pending + chunk if pending else chunk
                    while len(pending) >= _MBAP.size:
                        transaction, protocol, length, unit = _MBAP.unpack_from(pending)
                        if protocol != 0 or length not in _MBAP_LENGTH:
                            return
                        end = 6 + length
                        if len(pending) < end:
                            break
                        answer = reply(pending[7:end])
                        send(_MBAP.pack(transaction, 0, len(answer) + 1, unit) + answer)
                        pending = pending[end:]

        def finish(self) -> None:
            self.server.connections.pop(self.request, None)


def _unused_engine(_: object) -> None:
    """Given to the library only so that it makes no tables of 65,536 registers."""
