"""Our Modbus link against a device by other hands: the server of pymodbus."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from importlib.metadata import version

import pytest
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from controller.errors import LinkError
from controller.link.device import Device, InputBlock, OutputBlock
from controller.link.modbus import ModbusLink

pytestmark = pytest.mark.outside(f"library: server of pymodbus {version('pymodbus')}")

INPUTS = [0x5A1E, 1, 0, 9, 4, 77, 0, 65535, *range(4000, 4040)]
OUT = [78, 1000, 5000, 0, 10000, 0xFFFF]


class Peer:
    """pymodbus' server in a thread of its own: inputs at 0..47, outputs at 256..261, nothing else."""

    def __init__(self) -> None:
        self._loop = asyncio.new_event_loop()
        self._ready = threading.Event()
        self.port = 0
        self._thread = threading.Thread(target=self._run)
        self._thread.start()
        assert self._ready.wait(10.0)

    def close(self) -> None:
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
        self.port = self._server.transport.sockets[0].getsockname()[1]  # type: ignore[union-attr]
        self._ready.set()


@pytest.fixture(scope="module")
def peer() -> Iterator[Peer]:
    server = Peer()
    yield server
    server.close()


def make(peer: Peer, turn: str, *, inputs: int = 0, outputs: int = 256, count: int = 48) -> ModbusLink:
    device = Device(
        name="peer",
        host="127.0.0.1",
        port=peer.port,
        turn=turn,  # type: ignore[arg-type]
        timeout_s=5.0,
        input=InputBlock(base=inputs),
        output=OutputBlock(base=outputs),
    )
    return ModbusLink(device, input_count=count, output_count=6)


@pytest.mark.parametrize("turn", ["FC23", "FC03+FC16"])
def test_a_turn_writes_the_outputs_and_reads_the_inputs(peer: Peer, turn: str) -> None:
    link = make(peer, turn)
    assert link.turn(OUT) == INPUTS
    outputs = make(peer, turn, inputs=256, count=6)
    assert outputs.read() == OUT
    link.close()
    outputs.close()


def test_what_a_turn_writes_is_there_when_it_reads(peer: Peer) -> None:
    """FC 23 writes before it reads (V1.1b3, 6.17), so reading the output block gives what was just sent."""
    link = make(peer, "FC23", inputs=256, count=6)
    for heartbeat in (1, 2, 65535):
        assert link.turn([heartbeat, *OUT[1:]]) == [heartbeat, *OUT[1:]]
    link.close()


def test_reads_and_writes_alternate_on_one_connection(peer: Peer) -> None:
    link, back = make(peer, "FC03+FC16"), make(peer, "FC23", inputs=256, count=6)
    for heartbeat in range(20):
        link.write([heartbeat, *OUT[1:]])
        assert link.read() == INPUTS
        assert back.read()[0] == heartbeat
    assert link.counts == {"exchanges": 40, "connections": 1}
    link.close()
    back.close()


@pytest.mark.parametrize("turn", ["FC23", "FC03+FC16"])
def test_an_address_the_peer_has_not_is_refused_and_the_connection_stays(peer: Peer, turn: str) -> None:
    link = make(peer, turn, inputs=100)
    with pytest.raises(LinkError, match=r"exception 2 .illegal data address.: check base and addresses"):
        link.turn(OUT)
    with pytest.raises(LinkError) as caught:
        link.read()
    assert caught.value.kind == "exception-2"
    assert link.counts["connections"] == 1
    link.close()
