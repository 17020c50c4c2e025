"""Our Modbus link and a device by other hands, the server of pymodbus, with a bad wire between them."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from importlib.metadata import version
from typing import Any, get_args

import pytest
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from controller.errors import LinkError
from controller.link.device import Device, InputBlock, OutputBlock
from controller.link.modbus import ModbusLink
from controller.link.wirefaults import Fault as WireFault
from controller.link.wirefaults import FaultKind
from plantsim.faults import Fault
from plantsim.wire import Wire

pytestmark = pytest.mark.outside(f"library: server of pymodbus {version('pymodbus')}")

TIMEOUT_S = 0.5
INPUTS = [0x5A1E, 1, 0, 9, 4, 77, 0, 65535, *range(4000, 4040)]
OUT = [78, 1000, 5000, 0, 10000, 0xFFFF]
SWAPPED = [word << 8 & 0xFF00 | word >> 8 for word in INPUTS]
SHOWN = {
    "byte-swapped": SWAPPED,
    "word-swapped": [word for at in range(0, 48, 2) for word in (INPUTS[at + 1], INPUTS[at])],
    "bit-flip": [word ^ 8 if at == 9 else word for at, word in enumerate(INPUTS)],
}


class Peer:
    """pymodbus' server in a thread of its own, behind a wire. bad: what acts in the next exchange."""

    def __init__(self) -> None:
        self.bad: list[Fault] = []
        self._loop = asyncio.new_event_loop()
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()
        assert self._ready.wait(10.0)
        port = self._server.transport.sockets[0].getsockname()[1]  # type: ignore[union-attr]
        self.wire = Wire(("127.0.0.1", port), lambda _: self.bad, timeout_s=TIMEOUT_S, where={"word": (3, 9)})
        self.wire.start()

    def close(self) -> None:
        self.wire.stop()
        asyncio.run_coroutine_threadsafe(self._server.shutdown(), self._loop).result(10.0)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(10.0)
        self._loop.close()

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_until_complete(self._start())
        self._loop.run_forever()

    async def _start(self) -> None:
        blocks = [
            SimData(0, values=INPUTS, datatype=DataType.REGISTERS),
            SimData(256, values=[0] * 6, datatype=DataType.REGISTERS),
        ]
        self._server = ModbusTcpServer(SimDevice(id=255, simdata=blocks), address=("127.0.0.1", 0))
        await self._server.serve_forever(background=True)
        self._ready.set()


@pytest.fixture(scope="module")
def peer() -> Iterator[Peer]:
    server = Peer()
    yield server
    server.close()


@pytest.mark.parametrize("kind", [kind for kind in get_args(FaultKind) if kind != "disconnected"])
def test_a_foreign_devices_reply_spoilt_on_the_way_is_refused_by_its_name(peer: Peer, kind: FaultKind) -> None:
    """The kind of error is the one that a scheduled fault pretends; the exchanges before and after are good."""
    device = Device(
        name="peer", host="127.0.0.1", port=peer.wire.port, turn="FC23", lockstep_timeout_s=TIMEOUT_S,
        input=InputBlock(base=0), output=OutputBlock(base=256),
    )  # fmt: skip
    link = ModbusLink(device, input_count=48, output_count=6, lockstep=True)
    assert link.turn(OUT) == INPUTS
    expected = WireFault(kind=kind).error(0)
    peer.bad = [Fault(kind=kind, target="word" if kind in ("bit-flip", "stuck-register") else "", amount=_amount(kind))]
    shown: Any
    try:
        shown = link.turn(OUT)
    except LinkError as trouble:
        shown = trouble.kind
    peer.wire.settle()
    peer.bad = []
    assert shown == (SHOWN.get(kind, INPUTS) if expected is None else expected.kind)
    assert link.turn(OUT) == INPUTS
    if expected is not None:
        assert link.counts[expected.kind] == 1
    link.close()


def _amount(kind: str) -> float | None:
    return 3.0 if kind == "bit-flip" else None
