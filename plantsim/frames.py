"""Modbus TCP frames as a bad wire makes them: what is changed in a reply, byte by byte. No socket here.

Frame: transaction, protocol, length (two bytes each, high first), unit, then function and data. MODBUS Messaging on
TCP/IP V1.0b section 3.1.3, from memory; functions as in the MODBUS Application Protocol V1.1b3, section 6.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from struct import Struct
from typing import Final

from plantsim.faults import Fault, amount_of

HEADER: Final = Struct(">HHHB")
LENGTHS: Final = range(2, 255)  # unit, function and data of the longest frame
REGISTERS: Final = (3, 4, 23)  # functions whose reply carries registers
BITS: Final = (1, 2)
WRITES: Final = (5, 6, 15, 16, 23)
MANNERS: Final = ("slow-reply", "lost-reply", "broken-frame", "reset", "cut", "coalesced", "split")
SLOW, LATE = 0.2, 1.5  # times the time-out of the client: in good time for several requests, and after it
READ: Final = Struct(">HH").unpack_from
Where = Mapping[str, tuple[int, int]]  # target of a fault -> (function that reads it, address)


def whole(pending: bytes) -> int | None:
    """Bytes of the first frame in what has come so far; None = not known yet. ValueError when it is none."""
    if len(pending) < HEADER.size:
        return None
    _, protocol, length, _ = HEADER.unpack_from(pending)
    if protocol != 0 or length not in LENGTHS:
        raise ValueError(f"no Modbus frame: protocol {protocol}, length {length}")
    return 6 + int(length)


def framed(like: bytes, pdu: bytes) -> bytes:
    """A frame with the header of `like` around another PDU."""
    transaction, protocol, _, unit = HEADER.unpack_from(like)
    return HEADER.pack(transaction, protocol, len(pdu) + 1, unit) + pdu


def refusal(request: bytes, code: int) -> bytes:
    """The exception reply."""
    return framed(request, bytes((request[7] | 0x80, code)))


def misshapen(fault: Fault, reply: bytes) -> bytes:
    """A reply whose form is wrong as a fault has it; the reply itself for a kind that does not touch its form."""
    kind = fault.kind
    header, pdu = reply[: HEADER.size], reply[HEADER.size :]
    transaction, protocol, length, unit = HEADER.unpack(header)
    changed = {
        "wrong-transaction": (transaction ^ 1, protocol, length, unit),
        "wrong-protocol": (transaction, 1, length, unit),
        "wrong-unit": (transaction, protocol, length, unit ^ 1),
        "false-length": (transaction, protocol, length + int(fault.amount or 2), unit),
    }
    if kind in changed:
        return HEADER.pack(*changed[kind]) + pdu
    if kind == "wrong-function":
        return framed(reply, bytes((3 if pdu[0] != 3 else 4,)) + pdu[1:])
    if kind == "fewer-registers":
        return framed(reply, _resized(pdu, -1))
    if kind == "more-registers":
        return framed(reply, _resized(pdu, 1))
    return reply


def pieces(manner: str, reply: bytes) -> list[tuple[float, bytes]]:
    """What is sent of a reply and when: (pause before it, piece). The pauses are in time-outs of the client."""
    middle = len(reply) // 2
    if manner == "slow-reply":
        return [(SLOW, reply)]
    if manner == "lost-reply":
        return [(LATE, reply)]
    if manner == "broken-frame":
        return [(0.0, reply[:middle]), (LATE, reply[middle:])]
    if manner in ("reset", "cut"):
        return [(0.0, reply[:middle])]
    if manner == "coalesced":
        return [(0.0, reply + reply)]
    if manner == "split":  # a lone byte first, and the header in two
        cuts = sorted({0, 1, 5, *(len(reply) * n // 5 for n in range(1, 5)), len(reply)})
        return [(SLOW / len(cuts), reply[first:end]) for first, end in pairwise(cuts)]
    return [(0.0, reply)]


class Content:
    """Spoils what replies carry. Remembers what was sent last, for stale replies and registers that stick.

    where: the registers that targets of faults stand for.
    """

    def __init__(self, where: Where) -> None:
        self._where = where
        self._last: dict[bytes, bytes] = {}  # by what was asked: function and place
        self._stuck: dict[Fault, bytes] = {}

    def __call__(self, faults: Sequence[Fault], request: bytes, reply: bytes) -> bytes | None:
        """The reply as it arrives while these faults act; None when a stale one is due and there was none before."""
        asked, pdu = request[7:12], reply[7:]
        before = self._last.get(asked)
        if any(fault.kind == "stale" for fault in faults):
            if before is None:
                return None
            pdu = before
        self._last[asked] = pdu
        self._stuck = {fault: value for fault, value in self._stuck.items() if fault in faults}
        for fault in faults:
            if fault.kind in ("byte-swapped", "word-swapped", "bit-flip", "stuck-register"):
                pdu = self._spoilt(fault, request, pdu, before)
        return framed(reply, pdu)

    def _spoilt(self, fault: Fault, request: bytes, pdu: bytes, before: bytes | None) -> bytes:
        if pdu[0] not in (*REGISTERS, *BITS):
            return pdu
        head, data = pdu[:2], bytearray(pdu[2:])
        if fault.kind == "byte-swapped" and pdu[0] in REGISTERS:
            data[::2], data[1::2] = data[1::2], data[::2]
        elif fault.kind == "word-swapped" and pdu[0] in REGISTERS:
            for at in range(0, len(data) - 3, 4):
                data[at : at + 4] = data[at + 2 : at + 4] + data[at : at + 2]
        elif fault.kind in ("stuck-register", "bit-flip"):
            self._one(fault, request, data, None if before is None else before[2:])
        return head + bytes(data)

    def _one(self, fault: Fault, request: bytes, data: bytearray, before: bytes | None) -> None:
        """A register that sticks or has a bit turned over, if this reply carries it."""
        at = self._offset(fault.target, request, len(data))
        if at is None:
            return
        if fault.kind == "stuck-register":
            shown = data if before is None else before
            data[at : at + 2] = self._stuck.setdefault(fault, bytes(shown[at : at + 2]))
        else:
            bit = int(amount_of(fault))
            data[at + (bit >= 8 if request[7] in BITS else bit < 8)] ^= 1 << bit % 8

    def _offset(self, target: str, request: bytes, size: int) -> int | None:
        """Where in the data of the reply a target stands; None = not in this one. Bits count as words of 16."""
        if target not in self._where:
            return None
        function, address = self._where[target]
        asked = 3 if request[7] == 23 else request[7]
        base, _ = READ(request, 8)
        at = 2 * ((address - base) // 16 if function in BITS else address - base)
        return at if asked == function and 0 <= at < size - 1 else None


def _resized(pdu: bytes, registers: int) -> bytes:
    """A reply with registers left out or added at its end; one that carries none is shortened or lengthened alike."""
    size = 2 * abs(registers)
    data = pdu[2:-size] if registers < 0 else pdu[2:] + bytes(size)
    if pdu[0] in (*REGISTERS, *BITS):
        return bytes((pdu[0], len(data))) + data
    return pdu[:-size] if registers < 0 else pdu + bytes(size)
