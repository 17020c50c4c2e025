"""The real client over a bad wire, on real sockets: every kind of fault, and the link that pretends them beside it."""

from __future__ import annotations

import dataclasses
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import Any

import pytest

from controller.errors import LinkError
from controller.link.device import Device
from controller.link.direct import DirectLink
from controller.link.faulty import FaultyLink
from controller.link.image import Image
from controller.link.modbus import ModbusLink
from controller.link.wirefaults import Fault as WireFault
from plantsim.faults import Fault, kinds_of
from plantsim.remote_io import RemoteIo
from plantsim.server import Server
from plantsim.wire import ONLY_HERE, Wire

PATIENCE_S = 20.0  # for a reply that must come, however busy the machine
TIMEOUT_S = 0.2  # where none comes
PACE_S = 1.4  # what the wire takes for the client's time-out: a late reply comes long after it, a slow one in good time
STRUCK, FRAMES = 3, 7  # the frame that suffers, of so many
WORD = 8  # the first analog input, which counts the device's scans


class Bench:
    """A device, a bad wire, a real client. bad: what acts in the next exchange; kept on until it is taken away."""

    def __init__(self, io: RemoteIo, panel: Device, image: Image, stack: ExitStack, turn: Any, backoff: bool) -> None:
        self.io, self.image = io, image
        self.bad: list[Fault] = []
        self.server = stack.enter_context(Server(io))
        places = {str(word): (3, panel.input.base + word) for word in range(image.input_count)}
        to = ("127.0.0.1", self.server.port)
        self.wire = stack.enter_context(Wire(to, lambda _: self.bad, timeout_s=PACE_S, where=places))
        device = dataclasses.replace(
            panel, port=self.wire.port, turn=turn, timeout_s=PATIENCE_S, lockstep_timeout_s=PATIENCE_S
        )
        self.clock_s = 0.0  # of the pauses between attempts, in the test's hand
        counts = {"input_count": image.input_count, "output_count": image.output_count}
        self.link = ModbusLink(device, **counts, lockstep=not backoff, monotonic=lambda: self.clock_s)
        stack.callback(self.link.close)
        self.longest_s = 0.0

    def exchange(self, frame: int, timeout_s: float = PATIENCE_S) -> Any:
        """Words, or the kind of error; the wire comes to rest before the next."""
        self.link._timeout_s = timeout_s
        begin_s = time.monotonic()
        try:
            shown: Any = self.link.turn(block(frame)) if frame else self.link.read()
        except LinkError as trouble:
            shown = trouble.kind
        self.longest_s = max(self.longest_s, time.monotonic() - begin_s)
        self.wire.settle()
        return shown

    def run(self, *bad: Fault, silent: bool = False) -> list[Any]:
        """All frames, these faults in one of them. silent: no whole reply comes then, so it is not long waited for."""
        seen = []
        for frame in range(FRAMES):
            self.bad = list(bad) if frame == STRUCK else []
            seen.append(self.exchange(frame, TIMEOUT_S if silent and frame == STRUCK else PATIENCE_S))
            # A client that gave up may have done so before the wire had even seen its request.
            until(lambda: self.wire.counts["requests"] == self.link.counts["exchanges"])
            self.wire.settle()
        return seen


def block(heartbeat: int) -> list[int]:
    return [heartbeat, 1000, 0, 0, 0, 0]


@pytest.fixture
def bench(
    remote_io: Callable[[], RemoteIo], panel: Device, image: Image, request: pytest.FixtureRequest
) -> Iterator[Bench]:
    with ExitStack() as stack:
        turn = getattr(request, "param", "FC23")
        yield Bench(remote_io(), panel, image, stack, turn, backoff=False)


CASES = {
    kind: Fault(kind=kind, target=str(WORD) if kind in ("stuck-register", "bit-flip") else "", amount=amount)
    for kind in kinds_of("wire")
    if kind != "disconnected"
    for amount in [{"exception": 6.0, "bit-flip": 9.0}.get(kind)]
}
SILENT = ("lost-request", "lost-reply", "late-request", "broken-frame")  # no whole reply in time


@pytest.mark.parametrize("kind", CASES)
def test_what_the_faulty_link_pretends_is_what_the_wire_does(
    kind: str, bench: Bench, remote_io: Callable[[], RemoteIo]
) -> None:
    """Words or kind of error in every frame, and what the device lived through, are the same by both ways."""
    seen = bench.run(CASES[kind], silent=kind in SILENT)
    pretended = remote_io()
    fault = WireFault(kind=kind, code=6, word=WORD, bit=9)  # type: ignore[arg-type]
    link = FaultyLink(DirectLink(pretended), {STRUCK: fault})
    shown: list[Any] = []
    for frame in range(FRAMES):
        try:
            shown.append(link.turn(block(frame)) if frame else link.read())
        except LinkError as trouble:
            shown.append(trouble.kind)
    assert seen == shown
    assert bench.io.read() == pretended.read(), "scans, echo, stale blocks, trips"
    assert bench.wire.counts[kind] == 1
    failed = [kind for kind in seen if isinstance(kind, str)]
    assert {kind: bench.link.counts[kind] for kind in failed} == dict.fromkeys(failed, 1)
    assert bench.longest_s < PATIENCE_S, "a doubtful reply ends the exchange at once"


SHORT = ("lost-reply", "late-request", "duplicated", "stale", "wrong-unit", "reset")  # the rest in the full run


@pytest.mark.parametrize("bench", ["FC03+FC16"], indirect=True)
@pytest.mark.parametrize("kind", [pytest.param(k, marks=() if k in SHORT else pytest.mark.slow) for k in CASES])
def test_a_client_that_writes_and_reads_apart_gets_over_every_kind_too(kind: str, bench: Bench) -> None:
    seen = bench.run(CASES[kind], silent=kind in SILENT)
    assert [isinstance(words, list) for words in seen[:STRUCK]] == [True] * STRUCK
    assert [isinstance(words, list) for words in seen[STRUCK + 1 :]] == [True] * (FRAMES - STRUCK - 1)
    assert seen[-1][5] == FRAMES - 1, "the device echoes the last heartbeat"
    assert bench.longest_s < PATIENCE_S, "a doubtful reply ends the exchange at once"


@pytest.mark.parametrize(
    ("fault", "error"),
    [
        (Fault(kind="cut"), "closed"),
        (Fault(kind="split"), None),
        (Fault(kind="coalesced"), "wrong-length"),
        (Fault(kind="false-length"), "timeout"),
        (Fault(kind="false-length", amount=-2.0), "wrong-length"),
        (Fault(kind="false-length", amount=600.0), "wrong-header"),
        (Fault(kind="swallowed"), "timeout"),
    ],
    ids=lambda value: f"{value.kind} {value.amount or ''}".strip() if isinstance(value, Fault) else "",
)
def test_what_only_sockets_can_do_is_met_in_time_and_counted(bench: Bench, fault: Fault, error: str | None) -> None:
    seen = bench.run(fault, silent=error == "timeout")
    if error is None:
        assert isinstance(seen[STRUCK], list)
    else:
        assert seen[STRUCK] == error
        assert bench.link.counts[error] == 1
    assert [isinstance(words, list) for words in seen].count(True) >= FRAMES - 1
    assert bench.wire.counts[fault.kind] == 1
    assert bench.longest_s < PATIENCE_S, "a doubtful reply ends the exchange at once"
    assert fault.kind in ONLY_HERE


def test_a_connection_that_is_refused_is_tried_by_the_pauses_and_taken_again(
    remote_io: Callable[[], RemoteIo], panel: Device, image: Image
) -> None:
    with ExitStack() as stack:
        bench = Bench(remote_io(), panel, image, stack, "FC23", backoff=True)
        assert isinstance(bench.exchange(0), list)
        bench.bad = [Fault(kind="disconnected")]
        seen = [bench.exchange(1)]
        until(lambda: bench.wire.counts.get("disconnected") == 1)
        seen += [bench.exchange(frame) for frame in (2, 3)]
        assert seen[0] in ("closed", "refused"), "cut in an exchange, or found shut"
        assert "refused" in seen
        assert bench.exchange(4) == "waiting"
        bench.bad = []
        until(lambda: can_connect(bench.wire.port))
        assert bench.exchange(5) == "waiting"
        bench.clock_s += 30.0
        assert isinstance(bench.exchange(6), list)
        assert bench.link.counts["connections"] == 2


def test_a_host_that_takes_connections_and_never_answers_costs_one_time_out_each_time(bench: Bench) -> None:
    assert isinstance(bench.exchange(0), list)
    bench.bad = [Fault(kind="swallowed")]
    assert [bench.exchange(frame, TIMEOUT_S) for frame in (1, 2, 3)] == ["timeout"] * 3
    bench.bad = []
    until(lambda: isinstance(bench.exchange(4), list))


def test_several_faults_at_a_time_are_all_counted_and_the_last_one_shapes_the_reply(bench: Bench) -> None:
    seen = bench.run(Fault(kind="slow-reply"), Fault(kind="bit-flip", target=str(WORD)), Fault(kind="wrong-unit"))
    assert seen[STRUCK] == "wrong-header"
    assert {kind: bench.wire.counts[kind] for kind in ("slow-reply", "bit-flip", "wrong-unit")} == {
        "slow-reply": 1, "bit-flip": 1, "wrong-unit": 1,
    }  # fmt: skip


def test_a_device_that_is_gone_behind_the_wire_is_a_closed_connection(bench: Bench) -> None:
    assert isinstance(bench.exchange(0), list)
    bench.server.stop()
    assert bench.exchange(1) == "closed"
    with Server(bench.io, port=bench.server.port):
        assert isinstance(bench.exchange(2), list)


def test_whoever_sends_what_is_no_modbus_is_hung_up_on(bench: Bench) -> None:
    with socket.create_connection(("127.0.0.1", bench.wire.port), timeout=5.0) as stranger:
        stranger.sendall(b"GET / HTTP/1.1\r\n\r\n")
        assert stranger.recv(100) == b""
    assert isinstance(bench.exchange(0), list)
    assert bench.wire.counts["requests"] == 1


def can_connect(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def until(holds: Callable[[], bool]) -> None:
    """Ask again for at most half a minute."""
    last_s = time.monotonic() + 30.0
    while not holds():
        assert time.monotonic() < last_s
