"""A panel of two devices, each behind a bad wire of its own: one fails alone, in time, and comes back by itself."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import replace

import pytest

from controller.config.bundle import load_site
from controller.core.frames import Event, Outputs
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.link.panel import modbus_panel
from controller.link.panelimage import PanelImage
from controller.rig.plant import build, scene
from plantsim.faults import Fault, kinds_of
from plantsim.fieldserver import FieldServer
from plantsim.wire import ONLY_HERE, Wire

PATIENCE_S = 20.0  # for a reply that must come, however busy the machine
TIMEOUT_S = 0.2  # where none comes
PACE_S = 1.4  # what the wire takes for the client's time-out: a late reply comes long after it, a slow one in good time
SITE = load_site("demo-south", device_class=Device, layout=require_layout)
DEVICES = tuple(replace(device, lockstep_timeout_s=PATIENCE_S) for device in SITE.devices)
IMAGE = PanelImage(SITE.points, DEVICES)
OUT = Outputs((75.0, 0.0, 0.0), (True, *[False] * 7))
NAMES = ("io-b", "rtd-b")
# the words of a device without a header are taken as they come; these leave it in good form
UNSEEN = ("slow-reply", "duplicated", "split", "stale", "byte-swapped", "word-swapped", "stuck-register", "bit-flip")
SILENT = ("lost-request", "lost-reply", "late-request", "broken-frame", "false-length", "swallowed")
KINDS = [kind for kind in (*kinds_of("wire"), *ONLY_HERE) if kind != "disconnected"]


class Bench:
    """The panel and its wires. bad: per device what acts in its next exchange."""

    def __init__(self, stack: ExitStack) -> None:
        plant = build(scene(), SITE.points, DEVICES, lockstep=True)
        server = FieldServer(plant.device, plant.field, "127.0.0.1", [0, 0])
        stack.callback(server.stop)
        self.bad: dict[str, list[Fault]] = {name: [] for name in NAMES}
        where = ({"word": (3, 8)}, {"word": (4, 0)})
        self.wires = [
            stack.enter_context(
                Wire(("127.0.0.1", port), lambda _, name=name: self.bad[name], timeout_s=PACE_S, where=place)
            )
            for name, port, place in zip(NAMES, server.start(), where, strict=True)
        ]
        self.link = modbus_panel(IMAGE, lockstep=True, places=[("127.0.0.1", wire.port) for wire in self.wires])
        stack.callback(self.link.close)
        self.told: list[Event] = []
        self.link.tell = self.told.append
        self.device = plant.device
        self.longest_s = 0.0

    def exchange(self, frame: int, silent: Sequence[int] = ()) -> list[int]:
        """silent: devices from which no whole reply will come, so they are not long waited for."""
        for number, member in enumerate(self.link._members):
            member.port._timeout_s = TIMEOUT_S if number in silent else PATIENCE_S  # type: ignore[attr-defined]
        begin_s = time.monotonic()
        words = self.link.turn(IMAGE.encode(OUT, frame, 1000)) if frame else self.link.read()
        self.longest_s = max(self.longest_s, time.monotonic() - begin_s)
        for wire in self.wires:
            wire.settle()
        return words

    def catch_up(self) -> None:
        """Until the wires have seen all that was sent: who gave up may have done so before his request was seen."""
        last_s = time.monotonic() + 30.0
        for name, wire in zip(NAMES, self.wires, strict=True):
            while wire.counts["requests"] < self.link.counts[f"{name} exchanges"]:
                assert time.monotonic() < last_s
            wire.settle()

    def until_fresh(self, frame: int) -> int:
        """Frames until every device has answered again, counted on from `frame`; the last one."""
        while True:
            if self.exchange(frame)[:2] == [0, 0]:
                return frame
            assert frame < 1000
            frame += 1


@pytest.fixture
def bench() -> Iterator[Bench]:
    with ExitStack() as stack:
        yield Bench(stack)


# in the gate every kind strikes one of the two, in the full run both
CASES = [
    pytest.param(number, kind, marks=pytest.mark.slow if (at + number) % 2 else ())
    for number in (0, 1)
    for at, kind in enumerate(KINDS)
]


@pytest.mark.parametrize(("number", "kind"), CASES)
def test_a_device_fails_alone_and_comes_back(bench: Bench, number: int, kind: str) -> None:
    name, wire = NAMES[number], bench.wires[number]
    healthy = [bench.exchange(frame) for frame in range(3)]
    target = "word" if kind in ("stuck-register", "bit-flip") else ""
    bench.bad[name] = [Fault(kind=kind, target=target)]
    struck = bench.exchange(3, silent=[number] if kind in SILENT else [])
    bench.catch_up()
    bench.bad[name] = []
    last = bench.until_fresh(4)
    assert [words[:2] for words in healthy] == [[0, 0]] * 3
    assert struck[1 - number] == 0, "the other device goes on"
    if name == "rtd-b":
        assert (struck[number] == 0) == (kind in UNSEEN)
    assert last <= 5, "a connection that is left is noticed, and opened again"
    assert wire.counts[kind] >= 1
    failures = {key: count for key, count in bench.link.counts.items() if "connections" not in key}
    if struck[number]:
        assert [dict(event.data).get("device") for event in bench.told] == [name, name]
        assert failures[f"{name} {dict(bench.told[0].data)['kind']}"] >= 1
    assert bench.longest_s < PATIENCE_S
    assert bench.device.scans == last, "no simulated time is lost"


def test_both_devices_refuse_and_come_back(bench: Bench) -> None:
    assert [bench.exchange(frame)[:2] for frame in (0, 1)] == [[0, 0]] * 2
    bench.bad = {name: [Fault(kind="disconnected")] for name in NAMES}
    ages = [bench.exchange(frame)[:2] for frame in range(2, 30)]
    assert [1, 1] in ages
    assert ages == sorted(ages), "they age, scan by scan"
    bench.bad = {name: [] for name in NAMES}
    last = bench.until_fresh(30)
    assert bench.device.scans == last
    assert all(bench.link.counts[f"{name} refused"] >= 1 for name in NAMES)
    assert bench.longest_s < PATIENCE_S


def test_silence_of_all_devices_costs_one_time_out_each_in_a_scan(bench: Bench) -> None:
    assert [bench.exchange(frame)[:2] for frame in (0, 1)] == [[0, 0]] * 2
    bench.bad = {name: [Fault(kind="swallowed")] for name in NAMES}
    assert [bench.exchange(frame, silent=(0, 1))[:2] for frame in (2, 3, 4)] == [[1, 1], [2, 2], [3, 3]]
    assert 2 * TIMEOUT_S <= bench.longest_s < PATIENCE_S
    bench.bad = {name: [] for name in NAMES}
    last = bench.until_fresh(5)
    assert bench.device.scans == last, "no simulated time is lost"
