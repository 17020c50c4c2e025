"""Modbus requests and strict checks of their replies. Pure: bytes in, words out.

Source: MODBUS Application Protocol Specification V1.1b3, sections 6.3 (FC 03), 6.12 (FC 16), 6.17 (FC 23), 7
(exceptions). A reply passes only if its function code, length, byte count and echoed place are all right; a frame
on TCP carries no check sum of its own, so that is all there is to check here.
"""

from __future__ import annotations

from collections.abc import Sequence
from struct import Struct, error
from typing import Final

from controller.errors import LinkError

READ: Final = 0x03
WRITE: Final = 0x10
TURN: Final = 0x17
READ_WORDS_MAX: Final = 123  # the specification allows 125; pyModbusTCP's server serves 123 with FC 23
WRITE_WORDS_MAX: Final = 121  # FC 23; FC 16 would allow 123

# Code: what the device said, what to do about it.
EXCEPTIONS: Final[dict[int, tuple[str, str]]] = {
    1: ("illegal function", "set turn in the device file to what this device can do"),
    2: ("illegal data address", "check base and addresses against the device's register map"),
    3: ("illegal data value", "check the block sizes against the device's register map"),
    4: (
        "device failure",
        "look at the device's own diagnosis; many couplers answer so after their watchdog tripped and want a reset",
    ),
    5: ("acknowledge, still working on it", "nothing, if it passes; else look at the device"),
    6: ("device busy", "nothing, if it passes; else find who else polls the device"),
    7: ("negative acknowledge", "look at the device's own diagnosis"),
    8: ("memory parity error", "restart the device; replace it if that comes back"),
    10: ("gateway path unavailable", "check the gateway's configuration and unit_id"),
    11: ("gateway target does not answer", "check the device behind the gateway: power, cable, unit_id"),
}


class ReadRequest:
    """FC 03 or FC 04: `count` registers from `base`. `where` names the device in errors."""

    def __init__(self, where: str, base: int, count: int, function: int = READ) -> None:
        _require_count(where, "read", count, READ_WORDS_MAX)
        self.where = where
        self.pdu = Struct(">BHH").pack(function, base, count)
        self.words = WordsReply(where, function, count)


class WriteRequest:
    """FC 16: a block of `count` holding registers from `base`."""

    def __init__(self, where: str, base: int, count: int) -> None:
        _require_count(where, "written", count, WRITE_WORDS_MAX)
        self.where = where
        self._head = (WRITE, base, count, 2 * count)
        self._pack = Struct(f">BHHB{count}H").pack
        self._count = count
        self.accept = AcceptReply(where, WRITE, base, count)

    def pdu(self, words: Sequence[int]) -> bytes:
        """The request. Raises LinkError "bad-words"."""
        try:
            return self._pack(*self._head, *words)
        except error:
            raise bad_words(self.where, words, self._count) from None


class TurnRequest:
    """FC 23: write `write_count` registers from `write_base`, then read `read_count` from `read_base`."""

    def __init__(self, where: str, *, write_base: int, write_count: int, read_base: int, read_count: int) -> None:
        _require_count(where, "read", read_count, READ_WORDS_MAX)
        _require_count(where, "written", write_count, WRITE_WORDS_MAX)
        self.where = where
        self._count = write_count
        self._head = (TURN, read_base, read_count, write_base, write_count, 2 * write_count)
        self._pack = Struct(f">BHHHHB{write_count}H").pack
        self.words = WordsReply(where, TURN, read_count)

    def pdu(self, words: Sequence[int]) -> bytes:
        """The request. Raises LinkError "bad-words"."""
        try:
            return self._pack(*self._head, *words)
        except error:
            raise bad_words(self.where, words, self._count) from None


class WordsReply:
    """Reply to FC 03 or FC 23: calling it with the reply's bytes gives `count` words or raises LinkError."""

    __slots__ = ("_count", "_function", "_head", "_length", "_unpack", "_where")

    def __init__(self, where: str, function: int, count: int) -> None:
        self._where, self._function, self._count = where, function, count
        self._length = 2 + 2 * count
        self._head = bytes((function, 2 * count))
        self._unpack = Struct(f">{count}H").unpack_from

    def __call__(self, reply: bytes) -> list[int]:
        """Words of the reply, (count,)."""
        if len(reply) != self._length or reply[:2] != self._head:
            raise self._doubt(reply)
        return list(self._unpack(reply, 2))

    def _doubt(self, reply: bytes) -> LinkError:
        require_function(self._where, reply, self._function)
        got = f"{len(reply) - 2} bytes came and the reply counts {reply[1]}, expected {2 * self._count}"
        return doubt(self._where, "wrong-length", got)


class AcceptReply:
    """Reply to FC 15 or FC 16: calling it with the reply's bytes raises LinkError unless it names this place."""

    __slots__ = ("_accepted", "_function", "_place", "_where")

    def __init__(self, where: str, function: int, base: int, count: int) -> None:
        self._where, self._function, self._place = where, function, (base, count)
        self._accepted = Struct(">BHH").pack(function, base, count)

    def __call__(self, reply: bytes) -> None:
        """Raise LinkError unless the device acknowledged exactly this place and count."""
        if reply == self._accepted:
            return
        require_function(self._where, reply, self._function)
        if len(reply) != 5:
            raise doubt(self._where, "wrong-length", f"{len(reply)} bytes acknowledge a write, expected 5")
        base, count = int.from_bytes(reply[1:3], "big"), int.from_bytes(reply[3:5], "big")
        raise doubt(
            self._where,
            "wrong-echo",
            f"a write of {self._place[1]} words at {self._place[0]} was acknowledged as {count} words at {base}",
        )


def bad_words(where: str, words: Sequence[int], count: int) -> LinkError:
    """The error for a block that cannot be sent."""
    if len(words) != count:
        text = f"a block of {len(words)} words cannot be sent, expected {count}"
    else:
        text = f"{list(words)!r} has something that is no 16-bit word (0..65535)"
    return LinkError("bad-words", f"{where}: {text}; nothing was sent")


def _require_count(where: str, verb: str, count: int, most: int) -> None:
    if not 1 <= count <= most:
        text = f"{count} words cannot be {verb} in one request (1..{most})"
        raise LinkError("bad-words", f"{where}: {text}; shorten the block in the point list")


def require_function(where: str, reply: bytes, function: int) -> None:
    """Pass if the reply answers `function`; an exception reply raises the device's reason."""
    if len(reply) < 2:
        raise doubt(where, "wrong-length", f"a reply of {len(reply)} bytes")
    if reply[0] == function:
        return
    if reply[0] == function | 0x80 and len(reply) == 2:
        text, remedy = EXCEPTIONS.get(reply[1], ("not in the specification", "look into the device's manual"))
        raise LinkError(
            f"exception-{reply[1]}",
            f"{where} refuses function {function}: exception {reply[1]} ({text}): {remedy}",
        )
    raise doubt(where, "wrong-function", f"the reply has function {reply[0]}, expected {function}")


def doubt(where: str, kind: str, text: str) -> LinkError:
    """The error for a reply that is not used."""
    return LinkError(
        kind, f"{where}: {text}; the reply is not used and the connection was closed: check what answers there"
    )
