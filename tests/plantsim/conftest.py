"""What the tests of the device share: the demo panel's terminals and a chamber that only notes what it was told."""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import pytest

from plantsim.remote_io import DeviceMap, RemoteIo, Terminal, Wiring

CONFIGS = Path(__file__).parents[2] / "configs"
ACTUATORS = ("YC-101", "SC-101", "YC-103", "TCV-103", "ZC-120", "XV-102A", "XV-102B", "YC-106")
PANEL = DeviceMap(
    input_base=0,
    input_count=48,
    output_base=256,
    output_count=6,
    signature=0x5A1E,
    map_version=1,
    watchdog_s=10.0,
)


class NotedChamber:
    """Stands in for the chamber model: keeps every step's outputs, first microamp counts the steps."""

    def __init__(self, probes: int, contacts: Sequence[str], dt_s: float = 1.0) -> None:
        self.dt_s = dt_s
        self.microamps = [4000 + i for i in range(probes)]
        self.contacts = dict.fromkeys(contacts, False)
        self.steps: list[tuple[float, ...]] = []
        self.compiled = 0
        self.spans: dict[str, tuple[float, float]] = {}
        self.broken = False

    def compile(self) -> None:
        self.compiled += 1

    def set_spans(self, spans: Mapping[str, tuple[float, float]]) -> None:
        self.spans = dict(spans)

    def step(self, outputs: Sequence[float]) -> None:
        if self.broken:
            raise RuntimeError("planted")
        self.steps.append(tuple(outputs))
        self.microamps[0] = 4000 + len(self.steps)


@pytest.fixture(scope="session")
def terminals() -> tuple[Terminal, ...]:
    with (CONFIGS / "points" / "panel-a.csv").open(newline="") as file:
        return tuple(
            Terminal(
                tag=row["tag"],
                kind=row["kind"],  # type: ignore[arg-type]
                address=int(row["address"]),
                bit=int(row["bit"] or 0),
                raw_lo=int(row["raw_lo"] or 0),
                raw_hi=int(row["raw_hi"] or 1),
                lo=float(row["lo"] or 0),
                hi=float(row["hi"] or 1),
                safe=float(row["safe"] or 0),
            )
            for row in csv.DictReader(file)
        )


@pytest.fixture(scope="session")
def wiring(terminals: tuple[Terminal, ...]) -> Wiring:
    probes = [t.tag for t in terminals if t.kind == "AI"]
    return Wiring(probes, {t.tag: t.tag for t in terminals if t.kind == "DI"}, ACTUATORS)


@pytest.fixture
def chamber(wiring: Wiring) -> NotedChamber:
    return NotedChamber(len(wiring.probes), [str(key) for key in wiring.contacts.values()])


@pytest.fixture
def device(chamber: NotedChamber, terminals: tuple[Terminal, ...], wiring: Wiring) -> Callable[[bool], RemoteIo]:
    """Makes the demo device: device(True) in lockstep, device(False) in real time."""
    return lambda lockstep: RemoteIo(chamber, terminals, PANEL, wiring, lockstep=lockstep)


@pytest.fixture
def lockstep(device: Callable[[bool], RemoteIo]) -> RemoteIo:
    return device(True)


@pytest.fixture
def realtime(device: Callable[[bool], RemoteIo]) -> RemoteIo:
    return device(False)


@pytest.fixture(scope="session")
def heating() -> tuple[float, ...]:
    """What an output block says by default: fan 60 %, heating on, valve 25 %, damper 10 %, fog bank B."""
    return (1.0, 60.0, 1.0, 25.0, 10.0, 0.0, 1.0, 0.0)


@pytest.fixture(scope="session")
def block() -> Callable[..., list[int]]:
    """An output block of the demo panel as words; by default what `heating` says."""

    def make(heartbeat: int, fan: int = 6000, valve: int = 2500, vent: int = 1000, bits: int = 0b1011) -> list[int]:
        return [heartbeat, 1000, fan, valve, vent, bits]

    return make
