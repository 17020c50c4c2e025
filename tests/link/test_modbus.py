"""The Modbus link: reaching a device, losing it, finding it again; nothing sent twice, nothing disturbed."""

from __future__ import annotations

import dataclasses
import random
import socket
import threading
import time
from itertools import pairwise
from typing import Any

import pytest

from controller.errors import LinkError
from controller.link.device import Device
from controller.link.modbus import ModbusLink

OUT = [7, 1000, 5000, 0, 0, 33]


def make(panel: Device, port: int, **options: Any) -> ModbusLink:
    """A link with the demo panel's device file, but for a time-out that a busy machine does not reach."""
    lockstep, monotonic = options.pop("lockstep", False), options.pop("monotonic", time.monotonic)
    device = dataclasses.replace(panel, port=port, **{"timeout_s": 20.0, **options})
    return ModbusLink(device, input_count=48, output_count=6, lockstep=lockstep, monotonic=monotonic)


@pytest.fixture
def free_port() -> int:
    """A port where nobody listens."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        return int(taken.getsockname()[1])


def test_nobody_there_says_how_to_get_a_device(panel: Device, free_port: int) -> None:
    with pytest.raises(LinkError) as caught:
        make(panel, free_port).read()
    assert caught.value.kind == "refused"
    assert str(caught.value) == (
        f"no device at 127.0.0.1:{free_port} (connection refused): start it with `dewhold plant`, or check host, port"
        " and cable"
    )


def test_after_a_failed_connection_the_pause_doubles_to_30_s_and_calls_fail_at_once(
    panel: Device, free_port: int
) -> None:
    """Goal: the gate 0.5, 1, 2 ... 30 s. Method: a clock in the test's hand; note when an attempt is made again."""
    now_s = [0.0]
    link = make(panel, free_port, monotonic=lambda: now_s[0])
    attempts_s = []
    while len(attempts_s) < 9:
        before = link.counts.get("refused", 0)
        with pytest.raises(LinkError) as caught:
            link.read()
        tried = link.counts["refused"] > before
        assert caught.value.kind == ("refused" if tried else "waiting")
        if tried:
            attempts_s.append(now_s[0])
        now_s[0] += 0.25
    pauses_s = [later - earlier for earlier, later in pairwise(attempts_s)]
    assert pauses_s == [0.5, 1, 2, 4, 8, 16, 30, 30]


def test_waiting_names_the_last_failure(panel: Device, free_port: int) -> None:
    link = make(panel, free_port, monotonic=lambda: 0.0)
    with pytest.raises(LinkError):
        link.read()
    with pytest.raises(LinkError, match=r"not tried for another 0\.5 s; last failure: no device at"):
        link.turn(OUT)
    assert link.counts == {"exchanges": 2, "connections": 0, "refused": 1, "waiting": 1}


def test_a_device_that_accepts_and_says_nothing_is_left_alone_for_a_while(panel: Device, wire: Any) -> None:
    """Goal: connecting is not success. Method: silence on a fresh connection shuts the gate as a refusal does."""
    now_s = [0.0]
    link = make(panel, wire.port, monotonic=lambda: now_s[0])
    link._timeout_s = 0.25
    wire.script.append(lambda connection, request, reply: None)
    kinds = []
    for _ in range(2):
        with pytest.raises(LinkError) as caught:
            link.read()
        kinds.append(caught.value.kind)
    assert kinds == ["timeout", "waiting"]
    wire.wait_for_requests(1)
    link._timeout_s = 20.0
    now_s[0] = 0.5
    assert link.read()[3] == 2
    link.close()


def test_after_a_good_reply_the_pauses_begin_anew(panel: Device, wire: Any) -> None:
    """Goal: success forgets old failures. Method: fail, succeed, fail on the next fresh connection: 0.5 s, not 1 s."""

    def leaves(connection: socket.socket, request: bytes, reply: bytes) -> None:
        connection.shutdown(socket.SHUT_RDWR)

    now_s = [0.0]
    link = make(panel, wire.port, monotonic=lambda: now_s[0])
    wire.script.append(leaves)
    with pytest.raises(LinkError, match="closed the connection"):
        link.read()
    now_s[0] = 0.5
    link.read()
    link.close()
    wire.script.append(leaves)
    with pytest.raises(LinkError, match="closed the connection"):
        link.read()
    with pytest.raises(LinkError, match=r"not tried for another 0\.5 s"):
        link.read()


def test_a_lost_connection_is_tried_again_at_once(panel: Device, wire: Any) -> None:
    link = make(panel, wire.port, monotonic=lambda: 0.0)
    link.read()
    for _ in range(3):
        wire.script.append(lambda connection, request, reply: connection.shutdown(socket.SHUT_RDWR))
        with pytest.raises(LinkError, match="closed the connection"):
            link.read()
        link.read()
    assert "waiting" not in link.counts
    link.close()


def test_in_lockstep_every_call_tries(panel: Device, free_port: int) -> None:
    link = make(panel, free_port, lockstep=True)
    for _ in range(5):
        with pytest.raises(LinkError):
            link.read()
    assert link.counts == {"exchanges": 5, "connections": 0, "refused": 5}


@pytest.mark.parametrize("host", ["not a host!", "panel-a.invalid"])
def test_a_host_that_cannot_be_found_is_a_link_error(panel: Device, monkeypatch: pytest.MonkeyPatch, host: str) -> None:
    def no_address(*_: object, **__: object) -> None:
        raise socket.gaierror(-2, "Name or service not known")

    monkeypatch.setattr(socket, "getaddrinfo", no_address)
    with pytest.raises(LinkError, match=r"cannot be found \([Nn][^\[]*\): check host") as caught:
        make(panel, 502, host=host).read()
    assert caught.value.kind == "unresolved"


def test_an_address_that_cannot_be_reached_is_a_link_error(panel: Device) -> None:
    """The broadcast address takes no TCP connection; the system says so at once."""
    with pytest.raises(LinkError, match=r"cannot reach 255\.255\.255\.255:502") as caught:
        make(panel, 502, host="255.255.255.255").read()
    assert caught.value.kind == "unreachable"


def test_connecting_is_under_the_same_deadline(panel: Device) -> None:
    """Goal: a host that swallows connections costs one time-out. Method: a listener whose queue is full."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(0)
        port = listener.getsockname()[1]
        with socket.create_connection(("127.0.0.1", port)):
            begin_s = time.monotonic()
            with pytest.raises(LinkError, match="while connecting: check power, cable") as caught:
                make(panel, port, timeout_s=0.1).read()
            assert time.monotonic() - begin_s < 20.0, "the system by itself tries for two minutes"
    assert caught.value.kind == "timeout"


def test_the_two_requests_of_a_turn_share_one_deadline(
    panel: Device, wire: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Goal: FC16 + FC03 never take two time-outs. Method: what each is given; the second is not answered in time."""
    link = make(panel, wire.port, turn="FC03+FC16")
    link.read()
    given_s: list[float] = []
    exchange = link._client.exchange

    def noted(pdu: bytes, deadline_s: float) -> bytes:
        given_s.append(deadline_s)
        return exchange(pdu, begin_s if len(given_s) == 2 else deadline_s)

    monkeypatch.setattr(link._client, "exchange", noted)
    begin_s = time.monotonic()
    with pytest.raises(LinkError, match="gave no whole reply"):
        link.turn(OUT)
    assert len(given_s) == 2
    assert given_s[0] == given_s[1] >= begin_s + 20.0
    link.close()


def test_when_the_write_of_a_two_request_turn_fails_nothing_is_read(panel: Device, wire: Any) -> None:
    link = make(panel, wire.port, turn="FC03+FC16")
    wire.script.append(lambda connection, request, reply: connection.sendall(reply[:4] + b"\0\3\xff\x90\x04"))
    with pytest.raises(LinkError) as caught:
        link.turn(OUT)
    assert caught.value.kind == "exception-4"
    assert [request[7] for request in wire.requests] == [16]
    link.close()


@pytest.mark.parametrize("bad", [[*OUT[:5], 65536], [*OUT[:5], -1], OUT[:5], [*OUT, 0], [*OUT[:5], 1.5]])
def test_a_block_that_does_not_fit_is_not_sent(panel: Device, wire: Any, bad: list[Any]) -> None:
    link = make(panel, wire.port)
    for send in (link.turn, link.write):
        with pytest.raises(LinkError, match="nothing was sent") as caught:
            send(bad)
        assert caught.value.kind == "bad-words"
    assert wire.requests == []
    assert link.counts["bad-words"] == 2


@pytest.mark.parametrize(("inputs", "outputs"), [(124, 6), (48, 122), (0, 6), (48, 0)])
def test_blocks_beyond_one_request_are_refused_when_the_link_is_made(panel: Device, inputs: int, outputs: int) -> None:
    with pytest.raises(LinkError, match="in one request"):
        ModbusLink(panel, input_count=inputs, output_count=outputs)


def test_the_global_random_generator_is_not_touched(panel: Device, wire: Any) -> None:
    link = make(panel, wire.port)
    random.seed(1)
    expected = random.random()
    random.seed(1)
    link.turn(OUT)
    link.read()
    assert random.random() == expected
    link.close()


def test_transaction_numbers_count_and_wrap(panel: Device, wire: Any) -> None:
    link = make(panel, wire.port)
    link._client._transaction_id = 0xFFFE
    for _ in range(3):
        link.read()
    assert [int.from_bytes(request[:2], "big") for request in wire.requests] == [0xFFFF, 0, 1]
    link.close()


def test_two_threads_share_one_link_without_mixing_replies(panel: Device, wire: Any) -> None:
    """Goal: one request in flight. Method: 300 calls from each of two threads; every reply used exactly once."""
    link = make(panel, wire.port, lockstep=True)
    seen: list[int] = []

    def work() -> None:
        seen.extend([link.turn(OUT)[3] for _ in range(300)])

    threads = [threading.Thread(target=work) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30.0)
    assert sorted(seen) == list(range(1, 601))
    assert link.counts == {"exchanges": 600, "connections": 1}
    link.close()


def test_nagle_is_off(panel: Device, wire: Any) -> None:
    link = make(panel, wire.port)
    link.read()
    assert link._client._sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY) != 0
    link.close()


def test_a_closed_link_opens_again_when_it_is_used(panel: Device, wire: Any) -> None:
    link = make(panel, wire.port)
    link.read()
    link.close()
    link.read()
    assert link.counts == {"exchanges": 2, "connections": 2}
    link.close()
