"""The simulated panel on a socket: what it answers, what it refuses, how it starts and stops."""

from __future__ import annotations

import socket
import struct
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.kernel.step import step
from plantsim.params import PlantParams
from plantsim.remote_io import DeviceMap, RemoteIo, Wiring
from plantsim.server import Answerer, Server
from plantsim.weather import Weather

TURN = struct.pack(">BHHHHB", 0x17, 0, 48, 256, 6, 12)


def turn(heartbeat: int, fan: int = 6000) -> bytes:
    return TURN + struct.pack(">6H", heartbeat, 1000, fan, 2500, 1000, 0b1011)


def words(pdu: bytes) -> tuple[int, ...]:
    return struct.unpack_from(f">{pdu[1] // 2}H", pdu, 2)


class Peer:
    """A client of a few lines, so that nothing but the server is tested."""

    def __init__(self, port: int) -> None:
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=10.0)

    def __enter__(self) -> Peer:
        return self

    def __exit__(self, *_: object) -> None:
        self.socket.close()

    def send(self, pdu: bytes, transaction: int = 1, protocol: int = 0, unit: int = 255) -> None:
        self.socket.sendall(struct.pack(">HHHB", transaction, protocol, len(pdu) + 1, unit) + pdu)

    def receive(self) -> tuple[int, int, bytes]:
        """Transaction, unit and PDU of one reply; EOFError when the server hung up."""
        transaction, _, length, unit = struct.unpack(">HHHB", self._exactly(7))
        return transaction, unit, self._exactly(length - 1)

    def ask(self, pdu: bytes) -> bytes:
        self.send(pdu)
        return self.receive()[2]

    def _exactly(self, size: int) -> bytes:
        data = b""
        while len(data) < size:
            try:
                chunk = self.socket.recv(size - len(data))
            except ConnectionError as error:
                raise EOFError from error
            if not chunk:
                raise EOFError
            data += chunk
        return data


@pytest.fixture
def server(lockstep):
    with Server(lockstep) as running:
        yield running


@pytest.fixture
def answer(lockstep):
    return Answerer(lockstep)


# ---- requests in order


def test_a_turn_writes_before_it_reads(answer):
    reply = answer(turn(1))
    assert reply[:2] == bytes((0x17, 96))
    assert words(reply)[:9] == (0x5A1E, 1, 0, 1, 4, 1, 0, 0, 4001)


def test_a_turn_may_read_less_than_the_image(answer):
    assert words(answer(struct.pack(">BHHHHB", 0x17, 2, 4, 256, 6, 12) + turn(9)[10:])) == (0, 1, 4, 9)


def test_a_turn_may_read_back_what_it_wrote(answer):
    assert answer(struct.pack(">BHHHHB", 0x17, 256, 6, 256, 6, 12) + turn(9)[10:])[2:] == turn(9)[10:]


def test_inputs_and_outputs_can_be_read_whole_or_in_part(answer, lockstep):
    lockstep.write([7, 1000, 6000, 2500, 1000, 3])
    assert list(words(answer(bytes.fromhex("03 0000 0030")))) == lockstep.read()
    assert words(answer(bytes.fromhex("03 0005 0001"))) == (7,)
    assert words(answer(bytes.fromhex("03 0101 0002"))) == (1000, 6000)


def test_a_plain_write_is_echoed_and_done(answer, chamber):
    request = bytes.fromhex("10 0100 0006 0c") + turn(1)[10:]
    assert answer(request) == request[:5]
    assert len(chamber.steps) == 1


# ---- requests that are refused


REFUSED = {
    "03 0000 0000": "83 03",
    "03 0000 007e": "83 03",
    "03 0000": "83 03",
    "03 0000 0031": "83 02",
    "03 00ff 0002": "83 02",
    "03 0104 0003": "83 02",
    "03 ffff 0002": "83 02",
    "10 0100 0005 0a" + "0001" * 5: "90 02",
    "10 0101 0005 0a" + "0001" * 5: "90 02",
    "10 0100 0007 0e" + "0001" * 7: "90 02",
    "10 0000 0006 0c" + "0001" * 6: "90 02",
    "10 0100 0006 0b" + "0001" * 6: "90 03",
    "10 0100 0006 0c" + "0001" * 5: "90 03",
    "10 0100 0000 00": "90 03",
    "10 0100": "90 03",
    "10 0100 007c f8" + "0001" * 123: "90 03",
    "17 0000 0030 0101 0006 0c" + "0001" * 6: "97 02",
    "17 0000 0030 0100 0005 0a" + "0001" * 5: "97 02",
    "17 0000 0031 0100 0006 0c" + "0001" * 6: "97 02",
    "17 0000 0000 0100 0006 0c" + "0001" * 6: "97 03",
    "17 0000 007e 0100 0006 0c" + "0001" * 6: "97 03",
    "17 0000 0030 0100 0006 0c" + "0001" * 5: "97 03",
    "17 0000 0030 0100 0006 0c" + "0001" * 7: "97 03",
    "17 0000 0001 0100 007a f4" + "0001" * 121: "97 03",
    "17 0000 0030": "97 03",
    "01 0000 0001": "81 01",
    "02 0000 0001": "82 01",
    "04 0000 0001": "84 01",
    "05 0100 ff00": "85 01",
    "06 0100 0001": "86 01",
    "0f 0000 0001 01 01": "8f 01",
    "16 0100 00f2 0025": "96 01",
    "2b 0e 01 00": "ab 01",
    "07": "87 01",
    "83": "83 01",
}


@pytest.mark.parametrize(("request_hex", "reply_hex"), REFUSED.items())
def test_what_is_not_in_order_gets_its_exception_and_changes_nothing(answer, chamber, lockstep, request_hex, reply_hex):
    before = lockstep.words_out
    assert answer(bytes.fromhex(request_hex)) == bytes.fromhex(reply_hex)
    assert chamber.steps == []
    assert lockstep.words_out == before
    assert lockstep.read()[6] == 0


# ---- on the wire


def test_the_reply_repeats_transaction_and_unit(server):
    with Peer(server.port) as peer:
        for transaction, unit in ((0x1234, 255), (0xFFFF, 0), (0, 1)):
            peer.send(turn(transaction or 1), transaction, unit=unit)
            assert peer.receive()[:2] == (transaction, unit)


def test_a_request_in_pieces_is_put_together(server):
    whole = struct.pack(">HHHB", 5, 0, 23, 255) + turn(1)
    with Peer(server.port) as peer:
        peer.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        for at in range(len(whole)):
            peer.socket.sendall(whole[at : at + 1])
        assert peer.receive()[2][:2] == bytes((0x17, 96))


def test_requests_in_one_segment_are_answered_in_order(server, chamber):
    two = b"".join(struct.pack(">HHHB", n, 0, 23, 255) + turn(n) for n in (1, 2))
    with Peer(server.port) as peer:
        peer.socket.sendall(two)
        assert [words(peer.receive()[2])[5] for _ in range(2)] == [1, 2]
    assert len(chamber.steps) == 2


@pytest.mark.parametrize(
    "header",
    [
        struct.pack(">HHHB", 1, 1, 6, 255),  # not Modbus
        struct.pack(">HHHB", 1, 0, 1, 255),  # no PDU
        struct.pack(">HHHB", 1, 0, 255, 255),  # longer than any PDU
    ],
)
def test_the_server_hangs_up_on_what_is_not_modbus(server, header):
    with Peer(server.port) as peer:
        peer.socket.sendall(header + bytes.fromhex("03 0000 0001"))
        with pytest.raises(EOFError):
            peer.receive()
    with Peer(server.port) as other:
        assert other.ask(turn(1))[0] == 0x17


def test_many_clients_are_served_one_request_at_a_time(server, chamber):
    """Four threads race for heartbeats 1..400: each block is taken or stale, and taken ones tile the scans."""
    heartbeats = iter(range(1, 401))
    gate = threading.Lock()

    def race() -> None:
        with Peer(server.port) as peer:
            while True:
                with gate:
                    h = next(heartbeats, 0)
                if not h:
                    return
                assert peer.ask(turn(h))[0] == 0x17

    with ThreadPoolExecutor(4) as pool:
        for racer in [pool.submit(race) for _ in range(4)]:
            racer.result()
    image = server.remote_io.read()
    assert image[5] == 400
    # The first heartbeat seen may be 1 to 4, and costs one scan however it is numbered.
    assert 397 <= len(chamber.steps) <= 400
    assert image[3] == len(chamber.steps)


def test_a_chamber_that_fails_answers_device_failure_and_the_log_has_it(server, chamber, caplog):
    chamber.broken = True
    with Peer(server.port) as peer:
        assert peer.ask(turn(1)) == b"\x97\x04"
        chamber.broken = False
        assert peer.ask(turn(2))[0] == 0x17
    assert "planted" in caplog.text


# ---- start and stop


def test_the_kernel_is_compiled_before_the_port_is_open(lockstep, chamber):
    server = Server(lockstep)
    assert chamber.compiled == 0
    server.start()
    try:
        assert chamber.compiled == 1
        with Peer(server.port) as peer:
            peer.ask(turn(1))
    finally:
        server.stop()


def test_the_chamber_model_is_compiled_before_listening_and_has_lived_nothing():
    """The real model: after start() its step is compiled, its clock stands at 0 and its truth is untouched."""
    chamber = Chamber(PlantParams(), charge=Charge(), weather=Weather.constant(8.0, 80.0), seed=1)
    empty = DeviceMap(0, 8, 256, 2, 0x5A1E, 1, 10.0)
    io = RemoteIo(chamber, (), empty, Wiring((), {}, [""] * len(OUTPUTS)), lockstep=True)
    truth = chamber.truth_row
    with Server(io):
        assert chamber.time_s == 0.0
        assert chamber.truth_row == truth
        assert getattr(step, "signatures", True)  # none when compiling is off


def test_stop_cuts_connections_ends_threads_and_frees_the_port(lockstep):
    before = set(threading.enumerate())
    server = Server(lockstep)
    port = server.start()
    assert server.start() == port
    with Peer(port) as peer:
        peer.ask(turn(1))
        server.stop()
        with pytest.raises(EOFError):
            peer.receive()
    assert set(threading.enumerate()) == before
    with pytest.raises(ConnectionRefusedError):
        Peer(port)
    server.stop()
    assert server.start() == port
    with Peer(port) as peer:
        assert words(peer.ask(turn(2)))[3] == 2
    server.stop()


def test_a_port_in_use_is_said_in_words(lockstep, server):
    second = Server(lockstep, port=server.port)
    with pytest.raises(OSError, match=f"cannot listen on 127.0.0.1 port {server.port}.*choose another port"):
        second.start()
    second.stop()


def test_a_host_that_does_not_resolve_is_an_oserror_too(lockstep):
    with pytest.raises(OSError):
        Server(lockstep, host="no-such-host.invalid").start()


def test_in_real_time_a_thread_ticks_the_chamber(realtime, chamber):
    """Ticks of 2 ms are waited for by an event from the chamber itself; a write shows in a later tick."""
    chamber.dt_s = 0.002
    realtime.dt_s = 0.002
    heating = threading.Event()
    live = chamber.step

    def noted(outputs):
        live(outputs)
        if outputs[3] == 25.0:
            heating.set()

    chamber.step = noted
    with Server(realtime) as server, Peer(server.port) as peer:
        peer.ask(turn(1))
        assert heating.wait(10.0)
    steps = len(chamber.steps)
    assert steps >= 1
    assert realtime.scans == steps  # none after stop()


def test_a_pace_beyond_reach_goes_as_fast_as_it_can_and_still_answers_everybody(realtime, chamber):
    """Two clients ask while ticks follow each other without end; a lock that is only fought for would starve them."""
    with Server(realtime, pace=1e9) as server, Peer(server.port) as one, Peer(server.port) as other:
        for heartbeat in range(1, 101):
            one.ask(turn(heartbeat))
            assert len(words(other.ask(struct.pack(">BHH", 3, 0, 8)))) == 8
        before = len(chamber.steps)
        one.ask(struct.pack(">BHH", 3, 0, 8))
        assert [peer.rpartition(":")[0] for peer in server.peers] == ["127.0.0.1"] * 2
    assert before > 200
    assert realtime.scans == len(chamber.steps)


def test_who_has_gone_is_connected_no_more(realtime):
    with Server(realtime) as server:
        assert server.peers == []
        with Peer(server.port) as peer:
            peer.ask(turn(1))
            assert len(server.peers) == 1
        gone = threading.Event()
        while server.peers and not gone.wait(0.01):
            pass
        assert server.peers == []
