"""One Modbus TCP connection that takes nothing on trust: pyModbusTCP's client with its gaps closed.

The library waits its time-out for every piece of a reply, so a dripping device holds it for minutes; here one
deadline covers connecting, sending and the whole reply. It draws transaction numbers from Python's global random
generator, which would disturb seeded work; here they count. It lets resolver errors escape and keeps bytes beyond
a reply for the next one; here every such thing closes the connection and raises LinkError.
"""

from __future__ import annotations

import logging
import select
import socket
import time
from struct import Struct
from typing import Final

from pyModbusTCP.client import ModbusClient, logger
from pyModbusTCP.constants import MB_TIMEOUT_ERR

from controller.errors import LinkError

_HEADER: Final = Struct(">HHHB")  # transaction, protocol, length, unit (MBAP)
_FRAME_BYTES_MAX: Final = 260
_SOMETHING_TO_READ: Final = select.POLLIN | select.POLLHUP | select.POLLERR | select.POLLRDHUP


class StrictClient(ModbusClient):  # type: ignore[misc]  # the library carries no types
    """Opens, sends, receives; knows nothing of registers. Times are time.monotonic seconds.

    With the library's logger at DEBUG when a connection opens, every frame is logged in hex.
    """

    def __init__(self, where: str, host: str, port: int, unit_id: int, timeout_s: float) -> None:
        try:
            super().__init__(host, port, unit_id, timeout_s, auto_open=False, auto_close=False)
        except ValueError:
            raise LinkError("unresolved", _unresolved(where, "not a host name or address")) from None
        self._where = where
        self._deadline_s = 0.0
        self._poll = select.poll()
        self._unit = unit_id
        self._granted_s = timeout_s
        self._traced = False
        self._transaction_id: int = 0

    def connect(self, deadline_s: float) -> None:
        """Open a fresh connection before the deadline, trying each address of the host once."""
        self.close()
        try:
            places = socket.getaddrinfo(self.host, self.port, type=socket.SOCK_STREAM)
        except (socket.gaierror, UnicodeError) as trouble:
            why = getattr(trouble, "strerror", None) or "no name of a computer"
            raise LinkError("unresolved", _unresolved(self._where, why)) from None
        last: OSError = TimeoutError("no time left")
        for family, kind, protocol, _, place in places:
            remaining_s = deadline_s - time.monotonic()
            if remaining_s <= 0:
                break
            self._sock = socket.socket(family, kind, protocol)
            try:
                self._grant(remaining_s)
                self._sock.connect(place)
                self._sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            except OSError as trouble:
                self._sock.close()
                last = trouble
                continue
            self._poll = select.poll()
            self._poll.register(self._sock, _SOMETHING_TO_READ)
            self._grant(self.timeout)
            self._traced = logger.isEnabledFor(logging.DEBUG)
            return
        raise self._no_connection(last)

    def quiet(self) -> bool:
        """True if the connection stands and nothing waits in it: no old reply, no farewell of the device."""
        return self._sock.fileno() >= 0 and not self._poll.poll(0)

    def exchange(self, pdu: bytes, deadline_s: float) -> bytes:
        """Send one request, return the reply's PDU (may be an exception reply). Raises LinkError, then closed."""
        self._deadline_s = deadline_s
        reply: bytes | None = self.custom_request(pdu)
        if reply is None:  # the library could not send
            raise self._late() if self.last_error == MB_TIMEOUT_ERR else self._closed()
        return reply

    def _send_pdu(self, pdu: bytes) -> None:
        """Put the header before a request and send it, with a transaction number that counts."""
        self._transaction_id = (self._transaction_id + 1) & 0xFFFF
        frame = _HEADER.pack(self._transaction_id, 0, len(pdu) + 1, self._unit) + pdu
        self._send(frame)
        if self._traced:
            self._on_tx_rx(frame=frame, is_tx=True)

    def _recv_pdu(self, min_len: int = 2) -> bytes:  # noqa: ARG002  # the library's signature
        """The one frame that answers; asks for a byte more than the longest, to see what is too much."""
        frame = self._recv(_FRAME_BYTES_MAX + 1)
        while len(frame) < 7:
            frame += self._recv(_FRAME_BYTES_MAX + 1 - len(frame))
        length = self._whole(frame)
        while len(frame) < length:
            frame += self._recv(_FRAME_BYTES_MAX + 1 - len(frame))
        if len(frame) > length:
            raise self._doubt("wrong-length", f"{len(frame) - length} bytes follow the reply")
        if self._traced:
            self._on_tx_rx(frame=frame, is_tx=False)
        return frame[7:]

    def _recv(self, size: int) -> bytes:
        """What comes next, in the time that is left."""
        remaining_s = self._deadline_s - time.monotonic()
        if remaining_s <= 0:
            raise self._late()
        try:
            # Setting a time-out costs a system call; one that is right within 2 % is left as it is.
            if not 0.98 * self._granted_s < remaining_s <= self._granted_s:
                self._grant(remaining_s)
            piece: bytes = self._sock.recv(size)
        except TimeoutError:
            raise self._late() from None
        except OSError:
            raise self._closed() from None
        if not piece:
            raise self._closed()
        return piece

    def _grant(self, seconds: float) -> None:
        self._sock.settimeout(seconds)
        self._granted_s = seconds

    def _whole(self, frame: bytes) -> int:
        """Bytes of the whole frame by its header, which must be the one that answers."""
        transaction, protocol, length, unit = _HEADER.unpack_from(frame)
        if transaction == self._transaction_id and protocol == 0 and unit == self._unit and 3 <= length <= 254:
            return 6 + int(length)
        if transaction != self._transaction_id:
            raise self._doubt(
                "wrong-header", f"the reply is for transaction {transaction}, expected {self._transaction_id}"
            )
        if protocol != 0:
            raise self._doubt("wrong-header", f"the reply has protocol {protocol}, expected 0")
        if unit != self._unit:
            raise self._doubt("wrong-header", f"unit {unit} replies, expected unit {self._unit}")
        raise self._doubt("wrong-header", f"the reply claims {length} bytes, possible are 3..254")

    def _doubt(self, kind: str, text: str) -> LinkError:
        self.close()
        remedy = "the reply is not used and the connection was closed: check what answers there"
        return LinkError(kind, f"{self._where}: {text}; {remedy}")

    def _late(self) -> LinkError:
        self.close()
        return LinkError(
            "timeout",
            f"{self._where} gave no whole reply within {self.timeout:g} s; the connection was closed: check that the"
            " device is not stopped or overloaded, and the cable",
        )

    def _closed(self) -> LinkError:
        self.close()
        return LinkError(
            "closed",
            f"{self._where} closed the connection before it replied: check that the device runs, and that no other"
            " client takes its connections",
        )

    def _no_connection(self, trouble: OSError) -> LinkError:
        if isinstance(trouble, ConnectionRefusedError):
            remedy = "start it with `dewhold plant`, or check host, port and cable"
            return LinkError("refused", f"no device at {self._where} (connection refused): {remedy}")
        if isinstance(trouble, TimeoutError):
            text = f"no answer from {self._where} within {self.timeout:g} s while connecting"
            return LinkError("timeout", f"{text}: check power, cable and address of the device")
        reason = trouble.strerror or type(trouble).__name__
        return LinkError("unreachable", f"cannot reach {self._where} ({reason}): check network, cable and host")


def _unresolved(where: str, reason: str) -> str:
    return f"the host of {where} cannot be found ({reason}): check host in the device file, best give an IP address"
