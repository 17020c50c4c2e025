"""Our Modbus link against a device by other hands: the server of pymodbus."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.metadata import version

import pytest

from controller.errors import LinkError
from controller.link.device import Device, InputBlock, OutputBlock
from controller.link.modbus import ModbusLink
from tests.outside.peer import INPUTS, OUT, PeerServer, plain_device

pytestmark = pytest.mark.outside(f"library: server of pymodbus {version('pymodbus')}")

@pytest.fixture(scope="module")
def peer() -> Iterator[PeerServer]:
    server = PeerServer(plain_device())
    yield server
    server.close()


def make(peer: PeerServer, turn: str, *, inputs: int = 0, outputs: int = 256, count: int = 48) -> ModbusLink:
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
def test_a_turn_writes_the_outputs_and_reads_the_inputs(peer: PeerServer, turn: str) -> None:
    link = make(peer, turn)
    assert link.turn(OUT) == INPUTS
    outputs = make(peer, turn, inputs=256, count=6)
    assert outputs.read() == OUT
    link.close()
    outputs.close()


def test_what_a_turn_writes_is_there_when_it_reads(peer: PeerServer) -> None:
    """FC 23 writes before it reads (V1.1b3, 6.17), so reading the output block gives what was just sent."""
    link = make(peer, "FC23", inputs=256, count=6)
    for heartbeat in (1, 2, 65535):
        assert link.turn([heartbeat, *OUT[1:]]) == [heartbeat, *OUT[1:]]
    link.close()


def test_reads_and_writes_alternate_on_one_connection(peer: PeerServer) -> None:
    link, back = make(peer, "FC03+FC16"), make(peer, "FC23", inputs=256, count=6)
    for heartbeat in range(20):
        link.write([heartbeat, *OUT[1:]])
        assert link.read() == INPUTS
        assert back.read()[0] == heartbeat
    assert link.counts == {"exchanges": 40, "connections": 1}
    link.close()
    back.close()


@pytest.mark.parametrize("turn", ["FC23", "FC03+FC16"])
def test_an_address_the_peer_has_not_is_refused_and_the_connection_stays(peer: PeerServer, turn: str) -> None:
    link = make(peer, turn, inputs=100)
    with pytest.raises(LinkError, match=r"exception 2 .illegal data address.: check base and addresses"):
        link.turn(OUT)
    with pytest.raises(LinkError) as caught:
        link.read()
    assert caught.value.kind == "exception-2"
    assert link.counts["connections"] == 1
    link.close()
