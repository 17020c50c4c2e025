"""pymodbus, a client that knows nothing of us, reads and writes the register map that the point list documents."""

from __future__ import annotations

import csv
import tomllib
from importlib.metadata import version
from pathlib import Path
from types import SimpleNamespace

import pytest
from pymodbus.client import ModbusTcpClient

from plantsim.remote_io import DeviceMap, RemoteIo, Terminal, Wiring
from plantsim.server import Server

CONFIGS = Path(__file__).parents[2] / "configs"
UNIT = 255

pytestmark = pytest.mark.outside(f"library: client of pymodbus {version('pymodbus')}")


@pytest.fixture(scope="module")
def rows() -> list[dict[str, str]]:
    with (CONFIGS / "points" / "panel-a.csv").open(newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture
def chamber(rows):
    """Every analog input has its own current, every second contact is made."""
    inputs = [row["tag"] for row in rows if row["kind"] == "AI"]
    contacts = [row["tag"] for row in rows if row["kind"] == "DI"]
    steps: list[list[float]] = []
    return SimpleNamespace(
        dt_s=1.0,
        microamps=[4000 + 137 * n for n in range(len(inputs))],
        contacts={tag: n % 2 == 0 for n, tag in enumerate(contacts)},
        step=lambda outputs: steps.append(list(outputs)),
        set_spans=lambda spans: None,
        compile=lambda: None,
        steps=steps,
        inputs=inputs,
        actuators=[row["tag"] for row in rows if row["kind"] in ("AO", "DO")],
    )


@pytest.fixture
def client(rows, chamber):
    """A pymodbus client connected to the demo panel, built from the files a user would read."""
    panel = tomllib.loads((CONFIGS / "devices" / "panel-a.toml").read_text())
    terminals = [
        Terminal(
            row["tag"],
            row["kind"],  # type: ignore[arg-type]
            int(row["address"]),
            int(row["bit"] or 0),
            int(row["raw_lo"] or 0),
            int(row["raw_hi"] or 1),
            float(row["lo"] or 0),
            float(row["hi"] or 1),
            float(row["safe"] or 0),
        )
        for row in rows
    ]
    device = DeviceMap(
        input_base=panel["input"]["base"],
        input_count=48,
        output_base=panel["output"]["base"],
        output_count=6,
        signature=panel["input"]["signature"],
        map_version=panel["input"]["map_version"],
        watchdog_s=panel["watchdog"]["time_s"],
    )
    wiring = Wiring(chamber.inputs, {tag: tag for tag in chamber.contacts}, chamber.actuators)
    with Server(RemoteIo(chamber, terminals, device, wiring, lockstep=True)) as server:
        peer = ModbusTcpClient("127.0.0.1", port=server.port, timeout=10, retries=0)
        assert peer.connect()
        yield peer
        peer.close()


def read(client, address: int, count: int = 1) -> list[int]:
    reply = client.read_holding_registers(address, count=count, device_id=UNIT)
    assert not reply.isError()
    return reply.registers


def test_the_header_says_who_the_device_is(client):
    signature, version, high, low, status, echo, stale, trips = read(client, 0, 8)
    assert (signature, version) == (0x5A1E, 1)
    assert (high, low, echo, stale, trips) == (0, 0, 0, 0, 0)
    assert status == 4  # simulated


def test_every_input_stands_at_the_register_and_bit_of_its_row(client, rows, chamber):
    currents = dict(zip(chamber.inputs, chamber.microamps, strict=True))
    seen = 0
    for row in rows:
        if row["kind"] not in ("AI", "DI"):
            continue
        (word,) = read(client, int(row["address"]))
        if row["kind"] == "AI":
            assert word == currents[row["tag"]], row["tag"]
        else:
            assert bool(word >> int(row["bit"]) & 1) == chamber.contacts[row["tag"]], row["tag"]
        seen += 1
    assert seen == len(currents) + len(chamber.contacts)


@pytest.mark.parametrize("one_request", [False, True])
def test_every_output_reaches_its_actuator(client, rows, chamber, one_request):
    """One output after the other is set, by function 10h or 17h; only its own actuator may see it."""
    for heartbeat, row in enumerate((row for row in rows if row["kind"] in ("AO", "DO")), start=1):
        block = [heartbeat, 1000, 0, 0, 0, 0]
        block[int(row["address"]) - 256] = 2500 if row["kind"] == "AO" else 1 << int(row["bit"])
        if one_request:
            reply = client.readwrite_registers(
                read_address=0, read_count=48, write_address=256, values=block, device_id=UNIT
            )
            assert reply.registers[5] == heartbeat
        else:
            reply = client.write_registers(256, block, device_id=UNIT)
            assert read(client, 5) == [heartbeat]
        assert not reply.isError()
        expected = [0.0] * len(chamber.actuators)
        expected[chamber.actuators.index(row["tag"])] = 25.0 if row["kind"] == "AO" else 1.0
        assert chamber.steps[-1] == expected, row["tag"]


def test_outputs_start_at_the_safe_values_of_their_rows(client, rows):
    for row in rows:
        if row["kind"] in ("AO", "DO"):
            (word,) = read(client, int(row["address"]))
            shown = word / 100 if row["kind"] == "AO" else word >> int(row["bit"]) & 1
            assert shown == float(row["safe"]), row["tag"]


def test_a_part_of_the_output_block_is_refused_in_words_pymodbus_knows(client, chamber):
    assert client.write_registers(257, [1, 2], device_id=UNIT).exception_code == 2
    assert client.write_register(256, 1, device_id=UNIT).exception_code == 1
    assert client.read_coils(0, count=1, device_id=UNIT).exception_code == 1
    assert chamber.steps == []
