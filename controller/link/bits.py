"""Modbus requests for coils and discrete inputs, and strict checks of their replies. Pure: bytes in, words out.

Source: MODBUS Application Protocol Specification V1.1b3, sections 6.1 (FC 01), 6.2 (FC 02) and 6.11 (FC 15): the
first bit is the least significant of the first byte, the last byte is filled up with zeros.
"""

from __future__ import annotations

from collections.abc import Sequence
from struct import Struct, error

from controller.link.pdu import AcceptReply, bad_words, doubt, require_function

WRITE_BITS = 0x0F


class ReadBitsRequest:
    """FC 01 or FC 02: `count` bits from `base`; the reply's bits come packed, 16 a word."""

    def __init__(self, where: str, function: int, base: int, count: int) -> None:
        self._where, self._function, self._count = where, function, count
        self.pdu = Struct(">BHH").pack(function, base, count)
        self._bytes = -(-count // 8)
        self._head = bytes((function, self._bytes))
        self._words = -(-count // 16)

    def words(self, reply: bytes) -> list[int]:
        """Packed bits of the reply, ceil(count / 16) words; bits beyond count are 0. Raises LinkError."""
        if len(reply) != 2 + self._bytes or reply[:2] != self._head:
            require_function(self._where, reply, self._function)
            text = f"{len(reply) - 2} bytes of bits came, expected {self._bytes}"
            raise doubt(self._where, "wrong-length", text)
        bits = int.from_bytes(reply[2:], "little") & (1 << self._count) - 1
        return [bits >> 16 * word & 0xFFFF for word in range(self._words)]


class WriteBitsRequest:
    """FC 15: `count` coils from `base`, given as packed words."""

    def __init__(self, where: str, base: int, count: int) -> None:
        self._where, self._count = where, count
        self._bytes, self._words = -(-count // 8), -(-count // 16)
        self._head = Struct(">BHHB").pack(WRITE_BITS, base, count, self._bytes)
        self._pack = Struct(f"<{self._words}H").pack
        self.accept = AcceptReply(where, WRITE_BITS, base, count)

    def pdu(self, words: Sequence[int]) -> bytes:
        """The request. Raises LinkError "bad-words"."""
        try:
            packed = self._pack(*words)
        except error:
            raise bad_words(self._where, words, self._words) from None
        bits = int.from_bytes(packed, "little") & (1 << self._count) - 1
        return self._head + bits.to_bytes(self._bytes, "little")
