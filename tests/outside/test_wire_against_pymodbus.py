"""Our Modbus link and a device by other hands, the server of pymodbus, with a bad wire between them."""

from __future__ import annotations

import time
from collections.abc import Iterator
from importlib.metadata import version
from typing import Any, get_args

import pytest

from controller.errors import LinkError
from controller.link.device import Device, InputBlock, OutputBlock
from controller.link.modbus import ModbusLink
from controller.link.wirefaults import Fault as WireFault
from controller.link.wirefaults import FaultKind
from plantsim.faults import Fault
from plantsim.wire import Wire
from tests.outside.peer import INPUTS, OUT, PeerServer, plain_device

pytestmark = pytest.mark.outside(f"library: server of pymodbus {version('pymodbus')}")

PATIENCE_S = 20.0  # for a reply that must come, however busy the machine
TIMEOUT_S = 0.2  # where none comes
PACE_S = 1.4  # what the wire takes for the client's time-out: a late reply comes long after it, a slow one in good time
SWAPPED = [word << 8 & 0xFF00 | word >> 8 for word in INPUTS]
SHOWN = {
    "byte-swapped": SWAPPED,
    "word-swapped": [word for at in range(0, 48, 2) for word in (INPUTS[at + 1], INPUTS[at])],
    "bit-flip": [word ^ 8 if at == 9 else word for at, word in enumerate(INPUTS)],
}


class Peer(PeerServer):
    """The server behind a wire. bad: what acts in the next exchange."""

    def __init__(self) -> None:
        super().__init__(plain_device())
        self.bad: list[Fault] = []
        self.wire = Wire(("127.0.0.1", self.port), lambda _: self.bad, timeout_s=PACE_S, where={"word": (3, 9)})
        self.wire.start()

    def close(self) -> None:
        self.wire.stop()
        super().close()


@pytest.fixture(scope="module")
def peer() -> Iterator[Peer]:
    server = Peer()
    yield server
    server.close()


@pytest.mark.parametrize("kind", [kind for kind in get_args(FaultKind) if kind != "disconnected"])
def test_a_foreign_devices_reply_spoilt_on_the_way_is_refused_by_its_name(peer: Peer, kind: FaultKind) -> None:
    """The kind of error is the one that a scheduled fault pretends; the exchanges before and after are good."""
    device = Device(
        name="peer", host="127.0.0.1", port=peer.wire.port, turn="FC23", lockstep_timeout_s=PATIENCE_S,
        input=InputBlock(base=0), output=OutputBlock(base=256),
    )  # fmt: skip
    link = ModbusLink(device, input_count=48, output_count=6, lockstep=True)
    assert link.turn(OUT) == INPUTS
    expected = WireFault(kind=kind).error(0)
    peer.bad = [Fault(kind=kind, target="word" if kind in ("bit-flip", "stuck-register") else "", amount=_amount(kind))]
    shown: Any
    seen = peer.wire.counts["requests"]
    link._timeout_s = TIMEOUT_S if expected is not None and expected.kind == "timeout" else PATIENCE_S
    try:
        shown = link.turn(OUT)
    except LinkError as trouble:
        shown = trouble.kind
    last_s = time.monotonic() + PATIENCE_S
    while peer.wire.counts["requests"] == seen:  # who gave up may have done so before his request was seen
        assert time.monotonic() < last_s
    peer.wire.settle()
    link._timeout_s = PATIENCE_S
    peer.bad = []
    assert shown == (SHOWN.get(kind, INPUTS) if expected is None else expected.kind)
    assert link.turn(OUT) == INPUTS
    if expected is not None:
        assert link.counts[expected.kind] == 1
    link.close()


def _amount(kind: str) -> float | None:
    return 3.0 if kind == "bit-flip" else None
