"""Faults of the wire from one file: pretended by the controller's link, or done by the wires of a served panel."""

from __future__ import annotations

from collections import deque
from typing import Any

import pytest

from controller.core.frames import Command
from controller.link.direct import DirectLink
from controller.link.reach import modbus_link
from controller.rig.faults.wires import faulty, wire_plans, word_of
from controller.rig.plant import build, scene
from controller.rig.served.serve import listen
from controller.runtime.clock import LockstepClock
from controller.runtime.loop import Start
from controller.runtime.orders import ScriptOrders
from controller.runtime.session import Asked, Session, prepare
from plantsim.faults import Fault
from plantsim.wiredserver import WiredServer

SCANS = 120
# none of these makes a client wait for its time-out, which is long in lockstep
FAULTS = tuple(
    Fault(kind=kind, target=target, start_s=20.0 + 8.0 * number, length_s=length_s, amount=amount)
    for number, (kind, target, length_s, amount) in enumerate(
        [
            ("exception", "", 2.0, 6.0), ("wrong-unit", "", 1.0, None), ("reset", "", 1.0, None),
            ("fewer-registers", "", 2.0, None), ("stale", "", 2.0, None), ("disconnected", "", 3.0, None),
            ("bit-flip", "TT-101B", 5.0, 2.0), ("stuck-register", "9", 30.0, None), ("duplicated", "", 2.0, None),
            ("byte-swapped", "", 1.0, None),
        ]
    )
)  # fmt: skip


class Kept:
    """A recorder in memory."""

    def __init__(self) -> None:
        self.notices: deque[Any] = deque()
        self.links: list[Any] = []

    def add(self, row: Any) -> None:
        self.links += [(row.scan, event.data) for event in row.events if event.kind == "link"]


class Patient:
    """A link that lets the wires come to rest after each exchange."""

    def __init__(self, link: Any, server: WiredServer) -> None:
        self._link, self._server, self.counts, self.close = link, server, link.counts, link.close

    def _settled(self, call: Any, *words: Any) -> Any:
        try:
            return call(*words)
        finally:
            for wire in self._server.wires:
                wire.settle()

    def read(self) -> Any:
        return self._settled(self._link.read)

    def turn(self, words: Any) -> Any:
        return self._settled(self._link.turn, words)

    def write(self, words: Any) -> Any:
        return self._settled(self._link.write, words)


@pytest.fixture(scope="module")
def session() -> Session:
    return prepare(Asked(chamber="demo-north", recipe="gentle", mix="demo-60", load_t=120, mix_degC=20))


def run(session: Session, link: Any) -> tuple[Any, Kept]:
    kept = Kept()
    runner = session.runner(
        link=link,
        clock=LockstepClock(0, 1.0),
        orders=ScriptOrders([(5, Command("go", "start", "test"))]),
        recorder=kept,
        strict=True,
    )
    return runner.run(Start(state=session.fresh()), max_scans=SCANS), kept


def test_one_list_of_faults_does_the_same_to_a_link_and_to_a_served_panel(session: Session) -> None:
    """Goal: `cycle --faults` and `plant --faults` mean the same. Method: both traces over two minutes in lockstep."""
    points, image, devices = session.bundle.points, session.image, session.devices
    plants = [build(scene(), points, devices, lockstep=True) for _ in range(2)]
    here, told = run(session, faulty(DirectLink(plants[0].device), FAULTS, points, image, 1.0))
    plans = wire_plans(FAULTS, points, image, devices, lockstep=True)
    server = listen(plants[1], "127.0.0.1", 0, 1.0, plans)
    assert isinstance(server, WiredServer)
    try:
        link = modbus_link(image, lockstep=True, places=[("127.0.0.1", port) for port in server.ports])
        there, heard = run(session, Patient(link, server))
        counts = dict(server.wires[0].counts)
        link.close()
    finally:
        server.stop()
    assert here.trace_sha256 == there.trace_sha256
    assert here.link_failures == there.link_failures == 12
    assert [scan for scan, _ in told.links] == [scan for scan, _ in heard.links]
    struck = {fault.kind: fault.length_s for fault in FAULTS if fault.kind != "disconnected"}
    assert {kind: counts[kind] for kind in struck} == struck


def test_good_wires_are_left_out(session: Session) -> None:
    points, image, devices = session.bundle.points, session.image, session.devices
    inside = (Fault(kind="heat-lost"), Fault(kind="abort"))
    link = DirectLink(build(scene(), points, devices, lockstep=True).device)
    assert faulty(link, inside, points, image, 1.0) is link
    assert wire_plans(inside, points, image, devices, lockstep=True) == ()


def test_a_tag_is_found_among_the_words_of_its_device(session: Session) -> None:
    assert word_of("TT-101A", session.bundle.points, session.image) == ("panel-a", 8)
    south = prepare(Asked(chamber="demo-south", recipe="gentle", mix="demo-60", load_t=120, mix_degC=20))
    first = next(point for point in south.bundle.points if point.device == "rtd-b")
    assert word_of(first.tag, south.bundle.points, south.image) == ("rtd-b", first.address)
    with pytest.raises(KeyError, match="TT-999"):
        word_of("TT-999", session.bundle.points, session.image)


def test_on_a_panel_each_device_has_its_own_wire_and_only_its_own_faults() -> None:
    south = prepare(Asked(chamber="demo-south", recipe="gentle", mix="demo-60", load_t=120, mix_degC=20))
    points = south.bundle.points
    mine = next(point.tag for point in points if point.device == "rtd-b")
    faults = (Fault(kind="reset", target="io-b"), Fault(kind="bit-flip", target=mine), Fault(kind="lost-request"))
    coupler, module = wire_plans(faults, points, south.image, south.devices, lockstep=False)
    assert [fault.kind for fault in coupler.faults] == ["reset", "lost-request"]
    assert [fault.kind for fault in module.faults] == ["bit-flip", "lost-request"]
    assert module.where is not None
    assert module.where[mine][0] == 4, "an input register"
    assert coupler.timeout_s == south.devices[0].timeout_s
