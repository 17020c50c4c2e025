"""A whole simulated cycle: the real controller against the chamber model, over either link, summed up at the end."""

from __future__ import annotations

import contextlib
import gc
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from pathlib import Path

from controller.config.bundle import Bundle, load_bundle
from controller.config.plan import bind
from controller.core import scan
from controller.core.frames import Command
from controller.core.procedure import AT_REST
from controller.core.scan import ScanPlan, ScanResult, ScanState
from controller.link.device import Device
from controller.link.direct import DirectLink
from controller.link.image import Image
from controller.link.layout import require_layout
from controller.link.modbus import ModbusLink
from controller.link.protocol import Link
from controller.rig.plant import Plant, Scene, build
from controller.runtime.clock import LockstepClock
from controller.runtime.loop import Runner, Start
from controller.runtime.orders import ScriptOrders
from controller.runtime.report import Report
from controller.runtime.rest import safe_outputs
from controller.store.checkpoint import StateCodec
from controller.store.header import Header
from controller.store.recorder import Recorder
from plantsim.server import Server

START_SCAN = 5  # a few scans on which probes and link are judged before the cycle is ordered to start


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """One simulated cycle. start: simulated local time of the first scan, with a time zone."""

    scene: Scene
    chamber: str = "demo-north"
    recipe: str = "gentle"
    mix: str = "demo-60"
    link: str = "modbus"
    start: datetime
    hours_max: float = 48.0
    out: Path
    strict: bool = False


@dataclass(frozen=True, slots=True)
class Ran:
    """What a cycle leaves for those who sum it up. hold: first scan of the hold and one past its last (or equal)."""

    options: Options
    bundle: Bundle[Device]
    plant: Plant
    report: Report
    plan: ScanPlan
    hold: tuple[int, int]
    start_ms: int


def run(options: Options, show: Callable[[float, str], None]) -> Ran:
    """Run the cycle and write its record to `out`/record.sqlite. show(fraction, note) tells how far it is."""
    bundle = load_bundle(
        options.chamber, options.recipe, options.mix, device_class=Device, layout=require_layout
    )
    scene = options.scene
    plan = bind(
        bundle.chamber,
        bundle.points,
        bundle.recipe,
        bundle.mix,
        load_t=scene.charge.tonnes,
        empty_bays=scene.charge.empty_bays,
        dt_s=scene.dt_s,
    )
    scans_max = round(options.hours_max * 3600.0 / scene.dt_s)
    plant = build(scene, bundle.points, bundle.device, lockstep=True, steps_max=scans_max)
    image = Image(bundle.points, bundle.device)
    start_ms = round(options.start.timestamp() * 1000.0)
    record = options.out / "record.sqlite"
    _new_record(record)
    recorder = Recorder(record, _header(options, bundle, image), StateCodec(ScanState), began_ms=start_ms)
    watch = _Watch(scans_max, show)
    try:
        with _linked(options.link, plant, bundle.device, image) as link, _undisturbed():
            runner = Runner(
                link=link,
                image=image,
                clock=LockstepClock(start_ms, scene.dt_s),
                orders=ScriptOrders([(START_SCAN, Command("cycle-start", "start", "cycle"))]),
                step=partial(scan.scan, plan),
                columns=scan.values,
                safe=safe_outputs(bundle.points),
                scan_s=scene.dt_s,
                recorder=recorder,
                strict=options.strict,
            )
            state = scan.initial(plan, mix_degC=scene.charge.mix_degC, age_h=scene.charge.age_h)
            report = runner.run(Start(state=state), max_scans=scans_max, until=watch.ended, each=watch.each)
    finally:
        recorder.close()
    show(1.0, "done")
    return Ran(options, bundle, plant, report, plan, watch.hold(report.scans), start_ms)


class _Watch:
    """Looks at every result: has the cycle ended, when was it in hold, how far has it come?"""

    def __init__(self, scans_max: int, show: Callable[[float, str], None]) -> None:
        self._show_every = max(1, scans_max // 200)
        self._show = show
        self._hold_from = -1
        self._hold_to = -1
        self._started = False

    def each(self, number: int, result: ScanResult) -> None:
        sequence = result.state.sequence
        if self._hold_from < 0 and sequence.hold_start_s is not None:
            self._hold_from = self._hold_to = number
        if number % self._show_every == 0:
            # a day is the usual length; a longer cycle waits at the end of its bar
            self._show(min(0.99, sequence.cycle_s / 86_400.0), f"{sequence.state}, {sequence.cycle_s / 3600.0:.1f} h")

    def ended(self, result: ScanResult) -> bool:
        state = result.state.sequence.state
        self._started = self._started or state not in AT_REST
        return self._started and state in AT_REST

    def hold(self, scans: int) -> tuple[int, int]:
        """Scans of the hold: from its begin to the end of the cycle."""
        return (self._hold_from, scans) if self._hold_from >= 0 else (scans, scans)


@contextlib.contextmanager
def _linked(kind: str, plant: Plant, device: Device, image: Image) -> Iterator[Link]:
    """The device by either link. Over Modbus it is served by a thread of this process over loopback."""
    if kind == "direct":
        plant.device.prepare()
        yield DirectLink(plant.device)
        return
    server = Server(plant.device, "127.0.0.1", 0)
    server.start()
    link = ModbusLink(
        replace(device, host="127.0.0.1", port=server.port),
        input_count=image.input_count,
        output_count=image.output_count,
        lockstep=True,
    )
    try:
        yield link
    finally:
        link.close()
        server.stop()


@contextlib.contextmanager
def _undisturbed() -> Iterator[None]:
    """One core for client and server (a wake-up across cores costs more than the work), no garbage sweeps of what
    was loaded before."""
    before = os.sched_getaffinity(0) if hasattr(os, "sched_getaffinity") else None
    gc.collect()
    gc.freeze()
    if before:
        os.sched_setaffinity(0, {max(before)})
    try:
        yield
    finally:
        if before:
            os.sched_setaffinity(0, before)
        gc.unfreeze()


def _header(options: Options, bundle: Bundle[Device], image: Image) -> Header:
    return Header(
        tags=tuple(point.tag for point in bundle.points if point.kind == "AI"),
        computed=scan.COMPUTED,
        input_words=image.input_count,
        output_words=image.output_count,
        scan_s=options.scene.dt_s,
        texts={kind: file.text for kind, file in bundle.files.items()},
        facts={
            "chamber": bundle.chamber.name,
            "recipe": bundle.recipe.name,
            "mix": bundle.mix.name,
            "seed": options.scene.seed,
            "link": options.link,
            "load_t": options.scene.charge.tonnes,
            "simulated": True,
        },
    )


def _new_record(path: Path) -> None:
    """A simulated cycle is repeatable, so its record replaces the one before."""
    for old in (path, path.with_name(path.name + "-wal"), path.with_name(path.name + "-shm")):
        old.unlink(missing_ok=True)
