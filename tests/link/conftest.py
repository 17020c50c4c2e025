"""What the tests of the links share: the demo panel, read by the shortest way, and blocks of its words."""

from __future__ import annotations

import contextlib
import csv
import dataclasses
import socket
import struct
import threading
import time
import tomllib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from controller.core.points import Point, of_kind
from controller.link.device import Device, InputBlock, OutputBlock, Watchdog
from controller.link.image import Image
from plantsim.remote_io import DeviceMap, RemoteIo, Terminal, Wiring

CONFIGS = Path(__file__).parents[2] / "configs"


@pytest.fixture(scope="session")
def points() -> tuple[Point, ...]:
    kinds = {name: str(of) for name, of in Point.__annotations__.items()}
    rows = []
    with (CONFIGS / "points" / "panel-a.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            fields: dict[str, object] = {}
            for name, text in row.items():
                if text == "":
                    continue
                of = kinds[name]
                fields[name] = float(text) if "float" in of else int(text) if "int" in of else text
            rows.append(Point(**fields))
    return tuple(rows)


@pytest.fixture(scope="session")
def panel() -> Device:
    data = tomllib.loads((CONFIGS / "devices" / "panel-a.toml").read_text())
    blocks = {
        "input": InputBlock(**data.pop("input")),
        "output": OutputBlock(**data.pop("output")),
        "watchdog": Watchdog(**data.pop("watchdog")),
    }
    return Device(**data, **blocks)


@pytest.fixture(scope="session")
def image(points: tuple[Point, ...], panel: Device) -> Image:
    return Image(points, panel)


@pytest.fixture
def words() -> list[int]:
    """An input block of the demo panel: analog inputs 4000, 4001, ..., no contact made."""
    header = [0x5A1E, 1, 0x0001, 0x0002, 0, 77, 0, 0]
    return [*header, *range(4000, 4038), 0, 0]


class Panel:
    """A device object that only remembers: every block that came, and a counter that moves with each."""

    def __init__(self) -> None:
        self.taken: list[list[int]] = []
        self.words = [0x5A1E, 1, 0, 0, 4, 0, 0, 0, *range(4000, 4038), 0xA5A5, 1]

    def read(self) -> list[int]:
        return list(self.words)

    def write(self, words: Sequence[int]) -> None:
        self.taken.append(list(words))
        self.words[3] += 1
        self.words[5] = words[0]

    def turn(self, words: Sequence[int]) -> list[int]:
        self.write(words)
        return self.read()


@pytest.fixture
def device() -> Panel:
    return Panel()


class Counting:
    """A chamber whose first probe counts its steps, and whose second shows the speed of the fan in microamps."""

    dt_s = 1.0

    def __init__(self, probes: int, contacts: Sequence[str]) -> None:
        self.microamps = [4000] * probes
        self.contacts = dict.fromkeys(contacts, True)

    def set_spans(self, spans: object) -> None:
        """Its probes show microamps as they are."""

    def step(self, outputs: Sequence[float]) -> None:
        self.microamps[0] += 1
        self.microamps[1] = 4000 + round(160 * outputs[0])


@pytest.fixture
def remote_io(points: tuple[Point, ...], panel: Device, image: Image) -> Callable[[], RemoteIo]:
    """Makes the simulated panel's own remote I/O in lockstep, around a chamber that only counts its steps."""
    return lambda: counting_io(points, panel, image)


def counting_io(points: tuple[Point, ...], panel: Device, image: Image) -> RemoteIo:
    fields = [field.name for field in dataclasses.fields(Terminal)]
    terminals = [Terminal(**{name: getattr(point, name) for name in fields}) for point in points]
    contacts = [point.tag for point in of_kind(points, "DI")]
    device_map = DeviceMap(
        input_base=panel.input.base,
        input_count=image.input_count,
        output_base=panel.output.base,
        output_count=image.output_count,
        signature=panel.input.signature or 0,
        map_version=panel.input.map_version or 0,
        watchdog_s=panel.watchdog.time_s if panel.watchdog else 10.0,
    )
    probes = [point.tag for point in of_kind(points, "AI")]
    wiring = Wiring(probes, {tag: tag for tag in contacts}, [point.tag for point in of_kind(points, "AO")])
    return RemoteIo(Counting(len(probes), contacts), terminals, device_map, wiring, lockstep=True)


Behaviour = Callable[[socket.socket, bytes, bytes], None]


class Wire:
    """A raw TCP device: answers rightly, or as the next behaviour of `script` says (connection, request, reply).

    Word 3 of a right reply is the number of the request, so that an old reply is never taken for a new one.
    """

    def __init__(self) -> None:
        self.requests: list[bytes] = []
        self.script: list[Behaviour] = []
        self.over = threading.Event()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(0.02)
        self.port: int = self._listener.getsockname()[1]
        self._threads = [threading.Thread(target=self._listen)]
        self._threads[0].start()

    def right_reply(self, request: bytes) -> bytes:
        """The frame that answers; transaction, protocol and unit as asked."""
        function = request[7]
        if function == 0x10:
            pdu = request[7:12]
        else:
            count = int.from_bytes(request[10:12], "big")
            words = [0x5A1E, 1, 0, len(self.requests), *range(4, count)]
            pdu = struct.pack(f">BB{count}H", function, 2 * count, *words)
        return request[:4] + struct.pack(">HB", len(pdu) + 1, request[6]) + pdu

    def wait_for_requests(self, count: int) -> None:
        """Until so many have come: a client that gave up may have done so before its request was seen."""
        last_s = time.monotonic() + 30.0
        while len(self.requests) < count:
            assert time.monotonic() < last_s, f"{len(self.requests)} of {count} requests have come"

    def close(self) -> None:
        self.over.set()
        self._listener.close()
        for thread in self._threads:
            thread.join(5.0)

    def _listen(self) -> None:
        while not self.over.is_set():
            try:
                connection, _ = self._listener.accept()
            except TimeoutError:
                continue
            except OSError:
                return
            self._threads.append(threading.Thread(target=self._serve, args=(connection,)))
            self._threads[-1].start()

    def _serve(self, connection: socket.socket) -> None:
        with connection:
            connection.settimeout(0.02)
            while not self.over.is_set():
                try:
                    request = connection.recv(300)
                except TimeoutError:
                    continue
                except OSError:
                    return
                if not request:
                    return
                self.requests.append(request)
                behave = self.script.pop(0) if self.script else _answer
                with contextlib.suppress(OSError):  # the client may have given up on us: that is the point
                    behave(connection, request, self.right_reply(request))


def _answer(connection: socket.socket, request: bytes, reply: bytes) -> None:
    connection.sendall(reply)


@pytest.fixture
def wire() -> Iterator[Wire]:
    server = Wire()
    yield server
    server.close()
