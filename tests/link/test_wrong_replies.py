"""Every way a reply can be wrong: the right kind of error, in time, and the next exchange is healthy again."""

from __future__ import annotations

import dataclasses
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from controller.errors import LinkError
from controller.link.device import Device
from controller.link.modbus import ModbusLink

OUT = [7, 1000, 5000, 0, 0, 33]
PATIENCE_S = 20.0  # for a reply that must come, however busy the machine
TIMEOUT_S = 0.3  # where none comes; the drip would have said all after five seconds

Edit = Callable[[bytes], bytes]


@pytest.fixture
def link(wire: Any, panel: Device) -> Iterator[ModbusLink]:
    device = dataclasses.replace(panel, port=wire.port, timeout_s=PATIENCE_S)
    link = ModbusLink(device, input_count=48, output_count=6)
    yield link
    link.close()


def framed(request: bytes, pdu: bytes, length: int | None = None) -> bytes:
    return request[:4] + struct.pack(">HB", len(pdu) + 1 if length is None else length, request[6]) + pdu


def sends(edit: Callable[[bytes, bytes], bytes]) -> Any:
    """A behaviour that sends edit(request, right reply) in one piece."""
    return lambda connection, request, reply: connection.sendall(edit(request, reply))


def refuses(code: int) -> Any:
    return sends(lambda request, reply: framed(request, bytes((request[7] | 0x80, code))))


def drips(connection: socket.socket, request: bytes, reply: bytes) -> None:
    """A byte every 50 ms: each one long before a time-out that begins anew with every piece."""
    pause = threading.Event()
    for byte in reply:
        connection.sendall(bytes((byte,)))
        pause.wait(0.05)


def says_nothing(connection: socket.socket, request: bytes, reply: bytes) -> None:
    return


def resets(connection: socket.socket, request: bytes, reply: bytes) -> None:
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    connection.close()


def leaves(connection: socket.socket, request: bytes, reply: bytes) -> None:
    connection.shutdown(socket.SHUT_RDWR)


def leaves_halfway(connection: socket.socket, request: bytes, reply: bytes) -> None:
    connection.sendall(reply[:20])
    connection.shutdown(socket.SHUT_RDWR)


def words_pdu(function: int, count: int, claimed: int | None = None) -> bytes:
    return bytes((function, 2 * count if claimed is None else claimed)) + bytes(2 * count)


DOUBTFUL = {
    "reply to another function": ("wrong-function", sends(lambda q, r: framed(q, words_pdu(0x04, 48)))),
    "long exception": ("wrong-function", sends(lambda q, r: framed(q, bytes((q[7] | 0x80, 2, 0))))),
    "exception to another function": ("wrong-function", sends(lambda q, r: framed(q, b"\x84\x02"))),
    "one word short": ("wrong-length", sends(lambda q, r: framed(q, words_pdu(q[7], 47)))),
    "one word long": ("wrong-length", sends(lambda q, r: framed(q, words_pdu(q[7], 49)))),
    "byte count too small": ("wrong-length", sends(lambda q, r: framed(q, words_pdu(q[7], 48, claimed=94)))),
    "byte count too large": ("wrong-length", sends(lambda q, r: framed(q, words_pdu(q[7], 48, claimed=98)))),
    "right count, a word less": ("wrong-length", sends(lambda q, r: framed(q, words_pdu(q[7], 47, claimed=96)))),
    "right count, a word more": ("wrong-length", sends(lambda q, r: framed(q, words_pdu(q[7], 49, claimed=96)))),
    "function code alone": ("wrong-header", sends(lambda q, r: framed(q, bytes((q[7],))))),
    "reply twice in one piece": ("wrong-length", sends(lambda q, r: r + r)),
    "one byte too many": ("wrong-length", sends(lambda q, r: r + b"\x00")),
    "another transaction": ("wrong-header", sends(lambda q, r: bytes((r[0], r[1] ^ 1)) + r[2:])),
    "another protocol": ("wrong-header", sends(lambda q, r: r[:3] + b"\x01" + r[4:])),
    "another unit": ("wrong-header", sends(lambda q, r: r[:6] + bytes((r[6] ^ 1,)) + r[7:])),
    "no length": ("wrong-header", sends(lambda q, r: framed(q, r[7:], length=0))),
    "length beyond a frame": ("wrong-header", sends(lambda q, r: framed(q, r[7:], length=300))),
    "length larger than what comes": ("timeout", sends(lambda q, r: framed(q, r[7:], length=200))),
    "half a reply": ("timeout", sends(lambda q, r: r[:50])),
    "half a header": ("timeout", sends(lambda q, r: r[:4])),
    "a drip": ("timeout", drips),
    "silence": ("timeout", says_nothing),
    "end of connection": ("closed", leaves),
    "end in the middle": ("closed", leaves_halfway),
    "reset": ("closed", resets),
}


@pytest.mark.parametrize("name", DOUBTFUL)
@pytest.mark.parametrize("call", ["turn", "read"])
def test_a_doubtful_reply_is_refused_in_time_and_closes_the_connection(
    link: ModbusLink, wire: Any, name: str, call: str
) -> None:
    kind, behave = DOUBTFUL[name]
    exchange = (lambda: link.turn(OUT)) if call == "turn" else link.read
    assert exchange()[3] == 1
    wire.script.append(behave)
    link._timeout_s = TIMEOUT_S if kind == "timeout" else PATIENCE_S
    begin_s = time.monotonic()
    with pytest.raises(LinkError) as caught:
        exchange()
    assert time.monotonic() - begin_s < PATIENCE_S, "a doubtful reply ends the exchange at once"
    link._timeout_s = PATIENCE_S
    wire.wait_for_requests(2)
    assert caught.value.kind == kind, str(caught.value)
    assert f"127.0.0.1:{wire.port}" in str(caught.value)
    assert exchange()[3] == 3
    assert link.counts == {"exchanges": 3, "connections": 2, kind: 1}
    assert len(wire.requests) == 3, "nothing is sent twice"


@pytest.mark.parametrize("code", [1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 99])
def test_an_exception_is_told_with_its_remedy_and_keeps_the_connection(link: ModbusLink, wire: Any, code: int) -> None:
    wire.script.append(refuses(code))
    with pytest.raises(LinkError, match=rf"refuses function 23: exception {code} \(.+\): .+") as caught:
        link.turn(OUT)
    assert caught.value.kind == f"exception-{code}"
    assert link.turn(OUT)[3] == 2
    assert link.counts == {"exchanges": 2, "connections": 1, f"exception-{code}": 1}


@pytest.mark.parametrize(
    ("pdu", "kind"),
    [
        (b"\x10\x01\x01\x00\x06", "wrong-echo"),  # another address
        (b"\x10\x01\x00\x00\x05", "wrong-echo"),  # another count
        (b"\x10\x01\x00\x00", "wrong-length"),
        (b"\x10\x01\x00\x00\x06\x00", "wrong-length"),
        (b"\x06\x01\x00\x00\x06", "wrong-function"),
        (b"\x03\x02\x00\x06", "wrong-function"),  # the reply to a read
    ],
)
def test_a_write_must_be_acknowledged_for_its_place_and_count(
    link: ModbusLink, wire: Any, pdu: bytes, kind: str
) -> None:
    link.read()
    wire.script.append(sends(lambda request, reply: framed(request, pdu)))
    with pytest.raises(LinkError) as caught:
        link.write(OUT)
    assert caught.value.kind == kind
    link.write(OUT)
    assert link.counts == {"exchanges": 3, "connections": 2, kind: 1}


def test_a_reply_after_the_deadline_is_never_taken_for_the_next_one(link: ModbusLink, wire: Any) -> None:
    given_up = threading.Event()

    def is_late(connection: socket.socket, request: bytes, reply: bytes) -> None:
        given_up.wait(60.0)
        connection.sendall(reply)

    link.read()
    wire.script.append(is_late)
    link._timeout_s = TIMEOUT_S
    with pytest.raises(LinkError) as caught:
        link.turn(OUT)
    wire.wait_for_requests(2)
    given_up.set()
    link._timeout_s = PATIENCE_S
    assert caught.value.kind == "timeout"
    assert [link.turn(OUT)[3] for _ in range(3)] == [3, 4, 5]


def test_a_second_copy_of_a_reply_does_not_spoil_the_next_exchange(link: ModbusLink, wire: Any) -> None:
    """Goal: what waits before a request is sent is no answer to it. Method: copy sent once the first was read."""
    taken, copied = threading.Event(), threading.Event()

    def answers_twice(connection: socket.socket, request: bytes, reply: bytes) -> None:
        connection.sendall(reply)
        taken.wait(60.0)
        connection.sendall(reply)
        copied.set()

    wire.script.append(answers_twice)
    assert link.turn(OUT)[3] == 1
    taken.set()
    assert copied.wait(60.0)
    assert link.turn(OUT)[3] == 2
    assert link.counts == {"exchanges": 2, "connections": 2, "reopened": 1}


def test_bytes_that_follow_a_refusal_make_it_doubtful(link: ModbusLink, wire: Any) -> None:
    wire.script.append(sends(lambda request, reply: framed(request, bytes((request[7] | 0x80, 6))) + b"\x00\x00"))
    with pytest.raises(LinkError, match="2 bytes follow the reply") as caught:
        link.turn(OUT)
    assert caught.value.kind == "wrong-length"


def test_a_connection_that_the_device_closed_while_idle_is_reopened_before_sending(link: ModbusLink, wire: Any) -> None:
    gone = threading.Event()

    def answers_and_leaves(connection: socket.socket, request: bytes, reply: bytes) -> None:
        connection.sendall(reply)
        connection.shutdown(socket.SHUT_RDWR)
        gone.set()

    wire.script.append(answers_and_leaves)
    link.turn(OUT)
    assert gone.wait(60.0)
    link.turn(OUT)
    assert link.counts == {"exchanges": 2, "connections": 2, "reopened": 1}
