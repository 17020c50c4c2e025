"""What the bench measures in seconds and bytes. Each figure with the least it could be, taken in the same process."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import controller
from controller.config.bundle import load_bundle
from controller.errors import UnavailableError
from controller.link.device import Device
from controller.link.image import Image
from controller.link.layout import require_layout
from controller.link.modbus import ModbusLink
from controller.rig.bench.rows import Found, Measured, Target
from controller.rig.cycle import Options, Ran, run
from controller.rig.plant import Plant, build, scene
from plantsim.kernel import layout as at
from plantsim.server import Server

Show = Callable[[float, str], None]
DAY_SCANS = 86_400
OUTDOOR = ((8.0, 80.0),)  # the constant outdoor air of every bench row, degC and %RH

CYCLE_TARGETS = (
    Target(name="24 h, direct link", unit="s", must=7.0, dream=4.0, per_s=1.0),
    Target(name="24 h, direct link, times real time", unit="x", must=12_000.0, dream=21_600.0, at_least=True),
    Target(name="record of 24 h", unit="MB", must=15.0, dream=5.0),
    Target(name="books closure, energy", must=1e-9, dream=1e-12),
    Target(name="books closure, water", must=1e-9, dream=1e-12),
)
MODBUS_TARGETS = (
    Target(name="24 h, Modbus TCP", unit="s", must=15.0, per_s=1.0),
    Target(name="24 h, Modbus TCP, over direct and bare turns", unit="x", dream=1.15),
    Target(name="bare FC23 turn", unit="us", per_s=1e6),
)
STEP_TARGETS = (
    Target(name="model step, dry", unit="us", must=15.0, dream=8.0, per_s=1e6),
    Target(name="model step, fog in all cells", unit="us", must=22.0, dream=8.0, per_s=1e6),
)
COLD_TARGETS = (
    Target(name="cold start to first scan, nothing compiled", unit="s", must=15.0, per_s=1.0),
    Target(name="cold start to first scan, compiled before", unit="s", must=2.0, dream=1.0, per_s=1.0),
)


def calibration_s() -> float:
    """Time of a fixed loop of plain Python, the best of several: what this machine is worth now."""

    def loop() -> float:
        begin = time.perf_counter()
        x, seen = 0.0, [0.0] * 16
        for i in range(100_000):
            x = x * 0.999 + seen[i & 15]
            seen[i & 15] = x if x < 1e9 else 1.0
        return time.perf_counter() - begin

    return min(loop() for _ in range(7))


def day(recipe: str, link: str, hours: float, out: Path, show: Show) -> tuple[Ran, str, float]:
    """A cycle against the default chamber: (what it left, a note on its CPU time, its wall time scaled to 24 h).

    Timed from the first scan to the closed record: files, binding and compilation come before.
    """
    out.mkdir(parents=True, exist_ok=True)
    options = Options(
        scene=scene(outdoor=OUTDOOR), recipe=recipe, link=link, hours_max=hours, out=out,
        start=datetime(2026, 3, 2, 16, 0, tzinfo=UTC),
    )  # fmt: skip
    seen: list[tuple[float, float]] = []

    def watch(fraction: float, note: str) -> None:
        seen.append((time.perf_counter(), time.process_time()))
        show(fraction, note)

    ran = run(options, watch)
    wall, cpu = (end - begin for begin, end in zip(seen[0], seen[-1], strict=True))
    scale = DAY_SCANS / ran.report.scans
    note = f"{cpu * scale:.1f} s of CPU" + ("" if scale == 1.0 else f", from {ran.report.scans} scans")
    return ran, note, wall * scale


def cycle_figures(ran: Ran, note: str, wall_s: float, step_us: float) -> Found:
    """Rows of CYCLE_TARGETS from a run over the direct link. step_us: of the model alone, which is the floor."""
    record = sum(path.stat().st_size for path in ran.options.out.glob("record.sqlite*"))
    books = ran.plant.chamber.books
    scale = DAY_SCANS / ran.report.scans
    return {
        "24 h, direct link": Measured(value=wall_s, floor=step_us * 1e-6 * DAY_SCANS, note=note),
        "24 h, direct link, times real time": Measured(value=DAY_SCANS / wall_s),
        "record of 24 h": Measured(
            value=record * scale * 1e-6, note="" if scale == 1.0 else "scaled up with all that a record begins with"
        ),
        "books closure, energy": Measured(value=abs(books.energy_closure)),
        "books closure, water": Measured(value=abs(books.water_closure)),
    }


def modbus_figures(note: str, wall_s: float, direct_s: float, turn_us: float) -> Found:
    """Rows of MODBUS_TARGETS; the floor is the same day without a wire, and its turns with nothing behind them."""
    floor = direct_s + turn_us * 1e-6 * DAY_SCANS
    return {
        "24 h, Modbus TCP": Measured(value=wall_s, floor=floor, note=note),
        "24 h, Modbus TCP, over direct and bare turns": Measured(value=wall_s / floor),
        "bare FC23 turn": Measured(value=turn_us),
    }


def plant() -> tuple[Plant, Device, Image]:
    """The default simulated chamber, and what is needed to talk to it."""
    bundle = load_bundle("demo-north", "gentle", "demo-60", device_class=Device, layout=require_layout)
    built = build(scene(outdoor=OUTDOOR), bundle.points, bundle.device, lockstep=True)
    return built, bundle.device, Image(bundle.points, bundle.device)


def bare_turn_us(turns: int) -> float:
    """A turn with FC 23 through client, kernel and server. Its heartbeat is old, so the device only answers."""
    built, device, image = plant()
    server = Server(built.device, "127.0.0.1", 0)
    server.start()
    link = ModbusLink(
        replace(device, host="127.0.0.1", port=server.port),
        input_count=image.input_count,
        output_count=image.output_count,
        lockstep=True,
    )
    words = [1] + [0] * (image.output_count - 1)
    try:
        for _ in range(200):
            link.turn(words)
        begin = time.perf_counter()
        for _ in range(turns):
            link.turn(words)
        return (time.perf_counter() - begin) / turns * 1e6
    finally:
        link.close()
        server.stop()


def step_figures(batches: int) -> Found:
    """A step of the model with its instruments, called as the device calls it: the best of some batches."""
    built, _, _ = plant()
    chamber = built.chamber
    outputs = (1.0, 75.0, 1.0, 40.0, 0.0, 0.0, 0.0, 1.0)
    chamber.step(outputs)

    def batch(steps: int) -> float:
        begin = time.perf_counter()
        for _ in range(steps):
            chamber.step(outputs)
        return (time.perf_counter() - begin) / steps * 1e6

    dry = min(batch(500) for _ in range(batches))
    chamber.start(30.0, 100.0)
    air = chamber.state.air
    air[at.AIR_WATER] *= 1.1
    foggy = air.copy()
    fog: list[float] = []
    clear = False
    for _ in range(batches):
        air[:] = foggy  # it settles on surfaces within minutes
        fog.append(batch(20))
        clear = clear or float(air[at.AIR_FOG].min()) <= 0.0
    return {
        "model step, dry": Measured(value=dry),
        "model step, fog in all cells": Measured(
            value=None if clear else min(fog), note="a cell lost its fog" if clear else ""
        ),
    }


FIRST_SCAN = """
import pathlib, sys
from controller.rig.bench import speed
speed.day("gentle", "direct", 1.0 / 3600.0, pathlib.Path(sys.argv[1]), lambda fraction, note: None)
"""


def cold_figures() -> Found:
    """A fresh process that lives one scan, twice: with an empty cache of compiled code, then with a full one."""
    with tempfile.TemporaryDirectory() as folder:
        cold, warm = (_first_scan_s(Path(folder)) for _ in range(2))
    return {
        "cold start to first scan, nothing compiled": Measured(value=cold, note="a fresh process from begin to end"),
        "cold start to first scan, compiled before": Measured(value=warm, note="a fresh process from begin to end"),
    }


def _first_scan_s(folder: Path) -> float:
    root = Path(controller.__file__).parents[1]
    paths = os.pathsep.join(path for path in (str(root), os.environ.get("PYTHONPATH", "")) if path)
    environment = {**os.environ, "XDG_CACHE_HOME": str(folder / "cache"), "PYTHONPATH": paths}
    environment.pop("NUMBA_CACHE_DIR", None)
    environment.pop("PYTHONDONTWRITEBYTECODE", None)  # or every start would compile all of our own modules again
    begin = time.perf_counter()
    done = subprocess.run(  # our own interpreter and our own text
        [sys.executable, "-c", FIRST_SCAN, str(folder / "out")], env=environment, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    if done.returncode != 0:
        raise UnavailableError(f"the fresh process for the cold start failed: {done.stderr.strip()[-300:]}")
    return time.perf_counter() - begin
