"""A whole system in its hold over a bad wire: on real sockets and pretended alike, and without a bump afterwards."""

from __future__ import annotations

import time
from collections.abc import Container, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from typing import Any

from controller.link.direct import DirectLink
from controller.link.faulty import FaultyLink
from controller.link.modbus import ModbusLink
from controller.link.wirefaults import Fault as WireFault
from plantsim.faults import Fault, kinds_of
from plantsim.server import Server
from plantsim.wire import Wire

PATIENCE_S = 30.0  # for a reply that must come, however busy the machine
TIMEOUT_S = 0.2  # where none comes
PACE_S = 1.4  # what the wire takes for the client's time-out: a late reply comes long after it, a slow one in good time
FIRST, APART = 215, 12  # in the hold, heat and fog at work; scans from one fault to the next
LOST = ("lost-request", "lost-reply", "late-request", "wrong-unit", "wrong-transaction", "wrong-protocol", "exception",
        "wrong-function", "fewer-registers", "more-registers", "broken-frame", "reset", "stale", "byte-swapped",
        "word-swapped")  # fmt: skip
SILENT = ("lost-request", "lost-reply", "late-request", "broken-frame")  # no whole reply in time
QUIET = ("slow-reply", "duplicated")
SPOILT = ("stuck-register", "bit-flip")
ANALOG = ("SC-101", "TCV-103", "ZC-120")  # fan, heating valve, exhaust damper
DISCRETE = ("YC-101", "YC-103", "XV-102A", "XV-102B")


class Patient:
    """A link that lets the wire come to rest after each exchange, as there is time for it between scans.

    silent: frames to which no whole reply will come, so it is not long waited for.
    """

    def __init__(self, link: ModbusLink, wire: Wire, silent: Container[int]) -> None:
        self.counts, self.close, self.write = link.counts, link.close, link.write
        self._link, self._wire, self._silent = link, wire, silent

    def read(self) -> list[int]:
        with self._frame():
            return self._link.read()

    def turn(self, words: Sequence[int]) -> list[int]:
        with self._frame():
            return self._link.turn(words)

    @contextmanager
    def _frame(self) -> Iterator[None]:
        frame = self._wire.counts["requests"]
        self._link._timeout_s = TIMEOUT_S if frame in self._silent else PATIENCE_S
        try:
            yield
        finally:
            last_s = time.monotonic() + PATIENCE_S
            while self._wire.counts["requests"] == frame:  # given up before the wire had even seen the request
                assert time.monotonic() < last_s
            self._wire.settle()


@contextmanager
def over_the_wire(rig: Any, plan: dict[int, Fault], word: int) -> Iterator[None]:
    """The link of a rig over real sockets; plan: frame -> fault of that frame. A turn is one request."""
    session = rig.session
    with ExitStack() as stack:
        server = stack.enter_context(Server(rig.plant.device))
        to, where = ("127.0.0.1", server.port), {"word": (3, session.device.input.base + word)}
        due = lambda number: [plan[number]] if number in plan else []  # noqa: E731
        wire = stack.enter_context(Wire(to, due, timeout_s=PACE_S, where=where))
        device = replace(session.device, host="127.0.0.1", port=wire.port, lockstep_timeout_s=PATIENCE_S)
        counts = {"input_count": session.image.input_count, "output_count": session.image.output_count}
        link = ModbusLink(device, **counts, lockstep=True)
        stack.callback(link.close)
        rig.link = Patient(link, wire, {frame for frame, fault in plan.items() if fault.kind in SILENT})
        yield
        for fault in plan.values():
            assert wire.counts[fault.kind] >= 1


def test_the_same_faults_give_the_same_trace_on_real_sockets_and_pretended(make_rig: Any) -> None:
    """Goal: what campaigns pretend is what a wire does. Method: every kind that can be told by frames, one by one."""
    kinds = [*LOST, *QUIET, *SPOILT]
    assert {*kinds, "disconnected"} == set(kinds_of("wire"))
    frames = [FIRST + 1 + APART * number for number in range(len(kinds))]
    scans = frames[-1] + APART
    real, pretended = make_rig(), make_rig()
    word = next(p.address for p in real.session.bundle.points if p.tag == "TT-101C") - real.session.device.input.base
    plan = {
        frame: Fault(kind=kind, target="word" if kind in SPOILT else "", amount=_amount(kind))
        for frame, kind in zip(frames, kinds, strict=True)
    }
    with over_the_wire(real, plan, word):
        real.run(scans)
    schedule = {frame: WireFault(kind=fault.kind, code=6, word=word, bit=3) for frame, fault in plan.items()}
    pretended.link = FaultyLink(DirectLink(pretended.plant.device), schedule)
    pretended.run(scans)
    assert real.report.trace_sha256 == pretended.report.trace_sha256
    assert real.report.link_failures == pretended.report.link_failures == len(LOST)
    told = [dict(event.data).get("kind") for _, event in real.rows("link")]
    assert told == [dict(event.data).get("kind") for _, event in pretended.rows("link")]
    assert [event.text for _, event in real.rows("trip")] == []


def _amount(kind: str) -> float | None:
    return {"exception": 6.0, "bit-flip": 3.0}.get(kind)


def test_after_a_frame_that_was_lost_control_goes_on_without_a_bump(make_rig: Any) -> None:
    """Each kind that leaves the controller blind for a frame; beside a run on which nothing happens."""
    frames = [FIRST + 1 + APART * number for number in range(len(LOST))]
    scans = frames[-1] + APART
    plan = {frame: Fault(kind=kind, amount=_amount(kind)) for frame, kind in zip(frames, LOST, strict=True)}
    well, struck = make_rig(), make_rig()
    well.run(scans)
    with over_the_wire(struck, plan, 0):
        struck.run(scans)
    span = range(FIRST, scans)
    for tag in DISCRETE:
        assert [struck.out(scan, tag) for scan in span] == [well.out(scan, tag) for scan in span]
    for tag in ANALOG:
        assert _furthest(struck, tag, span) <= _furthest(well, tag, span) + 1e-9, "no step is larger than usual"
        assert max(abs(struck.out(scan, tag) - well.out(scan, tag)) for scan in span) < 2.0
    assert struck.report.link_failures == len(LOST)
    assert well.out(FIRST, "YC-103") == 1.0, "heat is at work"


def _furthest(rig: Any, tag: str, span: range) -> float:
    """The largest step of an output from one scan to the next."""
    return max(abs(rig.out(scan, tag) - rig.out(scan - 1, tag)) for scan in span)
