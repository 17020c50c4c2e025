"""Whatever a device sends, a link returns words of the right number or raises a LinkError of a known kind, in time."""

from __future__ import annotations

import socket
import time
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import LinkError
from controller.link.bits import ReadBitsRequest, WriteBitsRequest
from controller.link.pdu import ReadRequest, TurnRequest, WriteRequest
from controller.link.protocol import KINDS
from controller.link.strict import StrictClient

WHERE = "a device"
COUNT = 5
READ = ReadRequest(WHERE, 100, COUNT)
TURN = TurnRequest(WHERE, write_base=0, write_count=2, read_base=100, read_count=COUNT)
WRITE = WriteRequest(WHERE, 100, COUNT)
CHECKS: dict[str, tuple[Callable[[bytes], Any], bytes]] = {
    "read": (READ.words, bytes((3, 2 * COUNT)) + bytes(2 * COUNT)),
    "turn": (TURN.words, bytes((23, 2 * COUNT)) + bytes(2 * COUNT)),
    "write": (WRITE.accept, bytes.fromhex("10 0064 0005")),
    "read bits": (ReadBitsRequest(WHERE, 2, 7, 20).words, bytes((2, 3)) + bytes(3)),
    "write bits": (WriteBitsRequest(WHERE, 7, 20).accept, bytes.fromhex("0F 0007 0014")),
}
WORDS = {"read": COUNT, "turn": COUNT, "read bits": 2}


def known(kind: str) -> bool:
    return kind in KINDS or (kind.startswith("exception-") and 0 <= int(kind[10:]) <= 255)


@st.composite
def near(draw: st.DrawFn, good: bytes) -> bytes:
    """Bytes like a good reply, with some of them changed, cut off or added: what most wrong replies look like."""
    reply = bytearray(good)
    for at in draw(st.lists(st.integers(0, len(good) - 1), max_size=3)):
        reply[at] = draw(st.integers(0, 255))
    return bytes(reply[: draw(st.integers(0, len(reply)))]) + draw(st.binary(max_size=4))


@pytest.mark.parametrize("name", CHECKS)
@given(data=st.data())
def test_any_reply_is_words_or_a_link_error(name: str, data: st.DataObject) -> None:
    check, good = CHECKS[name]
    reply = data.draw(st.one_of(st.binary(max_size=260), near(good)))
    try:
        words = check(reply)
    except LinkError as trouble:
        assert known(trouble.kind)
        assert WHERE in str(trouble)
        assert reply != good
    else:
        assert len(reply) == len(good)
        assert reply[0] == good[0]
        if name in WORDS:
            assert len(words) == WORDS[name]
            assert all(isinstance(word, int) and 0 <= word <= 0xFFFF for word in words)


GOOD_FRAME = bytes.fromhex("0001 0000 000D 01") + CHECKS["read"][1]


@given(
    stream=st.one_of(st.binary(max_size=600), near(GOOD_FRAME)),
    cuts=st.lists(st.integers(0, 600), max_size=4),
    leaves=st.booleans(),
)
def test_any_bytes_on_a_connection_are_a_reply_or_a_link_error_before_the_deadline(
    stream: bytes, cuts: list[int], leaves: bool
) -> None:
    """The other end of a pair of sockets has said all, in pieces, before it is asked; then it leaves or stays."""
    allowed_s = 10.0 if leaves else 0.01  # an end of the stream is seen at once, silence only by waiting
    client = StrictClient("a device", "127.0.0.1", 502, 1, allowed_s)
    ours, theirs = socket.socketpair()
    with ours, theirs:
        places = sorted({0, *(min(cut, len(stream)) for cut in cuts), len(stream)})
        for first, end in pairwise(places):
            theirs.sendall(stream[first:end])
        if leaves:
            theirs.shutdown(socket.SHUT_WR)
        client._sock = ours
        client._granted_s = 0.0
        begin_s = time.monotonic()
        try:
            reply = client.exchange(READ.pdu, begin_s + allowed_s)
            READ.words(reply)
        except LinkError as trouble:
            assert known(trouble.kind)
            assert (trouble.kind == "timeout") <= (not leaves)
        else:
            assert stream[:7] == GOOD_FRAME[:7]
            assert len(stream) == len(GOOD_FRAME)
        assert time.monotonic() - begin_s < 5.0  # it is a hundredth of a second at most; the machine may be busy
