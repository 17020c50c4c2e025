"""A whole simulated cycle: the real controller against the chamber model, over either link, summed up at the end."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path

from controller.config.bundle import Bundle
from controller.config.find import find
from controller.config.loader import load
from controller.core.frames import Command
from controller.core.orders.procedure import AT_REST, CONTROLLED
from controller.core.orders.verbs import NEXT_PHASE
from controller.core.scan import ScanPlan, ScanResult
from controller.core.sequence.phases import PhasePlan
from controller.core.sequence.recipe import Recipe, keeps_places
from controller.errors import ConfigError, Problem
from controller.link.device import Device
from controller.link.direct import DirectLink
from controller.link.image import Image
from controller.link.inprocess import DirectPort
from controller.link.panel import PanelLink
from controller.link.panelimage import PanelImage
from controller.link.protocol import Link
from controller.link.reach import modbus_link
from controller.rig.faults.operators import with_wrong_orders
from controller.rig.faults.telling import Teller
from controller.rig.faults.wires import faulty
from controller.rig.onecore import one_core
from controller.rig.plant import Plant, Scene, build
from controller.rig.served.serve import listen
from controller.rig.standing import standing, yard
from controller.rig.standing.watch import Watch
from controller.rig.whatif.told import in_short
from controller.runtime.clock import LockstepClock
from controller.runtime.loop import Start
from controller.runtime.orders import ScriptOrders
from controller.runtime.report import Report
from controller.runtime.session import CODEC, Asked, prepare
from controller.store.reader import Reader
from controller.store.recorder import Recorder
from plantsim.filling import Filling

START_SCAN = 5  # a few scans on which probes and link are judged before the cycle is ordered to start
END_SCANS = 2  # before the last scan a standing climate is ended, so that its end is seen


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """One simulated cycle. start: simulated local time of the first scan, with a time zone.

    stop_h: so long after the start a person ends the phase that runs then. A recipe whose last phase ends no other way
    (a standing climate) is ended at hours_max when nothing is said here.
    """

    scene: Scene
    chamber: str = "demo-north"
    recipe: str = "gentle"
    mix: str = "demo-60"
    link: str = "modbus"
    start: datetime
    hours_max: float = 48.0
    out: Path
    strict: bool = False
    stop_h: float | None = None


@dataclass(frozen=True, slots=True)
class Ran:
    """What a cycle leaves for those who sum it up. hold: first scan of the hold and one past its last (or equal).

    product: so many scans, until a phase without product began.
    standing: what was seen of a standing climate, None for other recipes.
    """

    options: Options
    bundle: Bundle[Device]
    plant: Plant
    report: Report
    plan: ScanPlan
    hold: tuple[int, int]
    product: int
    start_ms: int
    standing: Watch | None = None


def run(
    options: Options,
    show: Callable[[float, str], None],
    look: Callable[[Plant, ScanResult], None] | None = None,
    say: Callable[[str], None] = lambda _text: None,
) -> Ran:
    """Run the cycle and write its record to `out`/record.sqlite. show(fraction, note) tells how far it is.

    look: called after every scan. say: a line for people when a fault begins and when it is over. With a filling and
    a recipe that keeps account of every place (a fill, a standing climate) the controller is told of the boards by
    orders, as they come.
    """
    scene = options.scene
    charge = scene.charge
    recipe = load(find("recipe", options.recipe), Recipe)
    singly = bool(scene.filling) and keeps_places(recipe)
    session = prepare(
        Asked(
            chamber=options.chamber,
            recipe=options.recipe,
            mix=options.mix,
            load_t=charge.tonnes,
            mix_degC=charge.mix_degC,
            age_h=charge.age_h,
            empty_bays=charge.empty_bays,
            scan_s=scene.dt_s,
            empty=singly,
            mixes=_mixes(scene.filling, options.mix) if singly else (),
        )
    )
    bundle = session.bundle
    scans_max = round(options.hours_max * 3600.0 / scene.dt_s)
    plant = build(scene, bundle.points, bundle.devices, lockstep=True, steps_max=scans_max)
    start_ms = round(options.start.timestamp() * 1000.0)
    record = options.out / "record.sqlite"
    _new_record(record)
    header = session.header(options.link, simulated=True, seed=scene.seed, what_if=in_short(scene.what_if))
    recorder = Recorder(record, header, CODEC, began_ms=start_ms)
    stands = standing.watch(plant, session.plan)
    looks = [partial(one, plant) for one in (look, stands.look if stands is not None else None) if one is not None]
    script = _script(options, singly, session.plan.sequence.phases[-1].by_operator)
    teller = Teller(scene.faults, scene.dt_s, recorder.notices.append, say) if scene.faults else None
    watch = _Watch(session.plan.sequence.phases, scans_max, show, looks, teller, scene.dt_s)
    try:
        with linked(options.link, plant, session.image) as link, _undisturbed():
            runner = session.runner(
                link=faulty(link, scene.faults, bundle.points, session.image, scene.dt_s),
                clock=LockstepClock(start_ms, scene.dt_s),
                orders=with_wrong_orders(ScriptOrders(script), scene.faults, scene.dt_s),
                recorder=recorder,
                strict=options.strict,
            )
            state = session.fresh()
            report = runner.run(Start(state=state), max_scans=scans_max, until=watch.ended, each=watch.each)
    finally:
        recorder.close()
    show(1.0, "done")
    hold, inside = watch.hold(report.scans), watch.product(report.scans)
    return Ran(options, bundle, plant, report, session.plan, hold, inside, start_ms, stands)


def _script(options: Options, singly: bool, by_person: bool) -> list[tuple[int, Command]]:
    """The orders of a cycle: its start, what people at the doors tell, and where need be its end."""
    scene = options.scene
    script = [(START_SCAN, Command("cycle-start", "start", "cycle"))]
    if singly:
        script += yard.orders(scene.filling, scene.dt_s, 1)
    stop = None if options.stop_h is None else START_SCAN + round(options.stop_h * 3600.0 / scene.dt_s)
    if stop is None and by_person:
        stop = round(options.hours_max * 3600.0 / scene.dt_s) - END_SCANS
    if stop is not None:
        script.append((stop, Command("cycle-end", NEXT_PHASE, "cycle")))
    return script


class _Watch:
    """Looks at every result: has the cycle ended, when was it in hold, how far has it come?"""

    def __init__(
        self,
        phases: Sequence[PhasePlan],
        scans_max: int,
        show: Callable[[float, str], None],
        looks: Sequence[Callable[[ScanResult], None]],
        teller: Teller | None,
        dt_s: float,
    ) -> None:
        self._looks, self._teller = looks, teller
        if teller is not None:
            teller.before(0)
        self._holds = frozenset(number for number, phase in enumerate(phases) if phase.kind == "hold")
        self._show_every = max(1, scans_max // 200)
        self._show = show
        # a day is the usual length, and a longer cycle waits at the end of its bar; what a person ends is known
        self._whole_s = scans_max * dt_s if phases[-1].by_operator else min(86_400.0, scans_max * dt_s)
        self._empty = frozenset(number for number, phase in enumerate(phases) if phase.targets.empty)
        self._emptied = -1
        self._hold_from = -1
        self._hold_to = -1
        self._started = False

    def each(self, number: int, result: ScanResult) -> None:
        for look in self._looks:
            look(result)
        if self._teller is not None:
            self._teller.before(number + 1)
        sequence = result.state.sequence
        if sequence.phase in self._holds and sequence.state in CONTROLLED:
            if self._hold_from < 0:
                self._hold_from = number
            self._hold_to = number + 1
        if sequence.phase in self._empty and self._emptied < 0:
            self._emptied = number
        if number % self._show_every == 0:
            passed_s = sequence.cycle_s
            self._show(min(0.99, passed_s / self._whole_s), f"{sequence.state}, {passed_s / 3600.0:.1f} h")

    def ended(self, result: ScanResult) -> bool:
        state = result.state.sequence.state
        self._started = self._started or state not in AT_REST
        return self._started and state in AT_REST

    def product(self, scans: int) -> int:
        """Scans with product inside, of so many."""
        return self._emptied if self._emptied >= 0 else scans

    def hold(self, scans: int) -> tuple[int, int]:
        """Scans of the hold: from its begin to its end (of the last hold, where there are several)."""
        return (self._hold_from, self._hold_to) if self._hold_from >= 0 else (scans, scans)


@contextlib.contextmanager
def linked(kind: str, plant: Plant, image: Image | PanelImage) -> Iterator[Link]:
    """The device by either link. Over Modbus it is served by a thread of this process over loopback."""
    if kind == "direct":
        plant.device.prepare()
        yield direct_panel(plant, image) if isinstance(image, PanelImage) else DirectLink(plant.device)
        return
    server = listen(plant, "127.0.0.1", [0] * max(1, len(plant.field)), 1.0)
    link = modbus_link(image, lockstep=True, places=[("127.0.0.1", port) for port in server.ports])
    try:
        yield link
    finally:
        link.close()
        server.stop()


def direct_panel(plant: Plant, image: PanelImage) -> PanelLink:
    """The devices of a panel by calls in this process."""
    pairs = zip(image.members, plant.field, strict=True)
    return PanelLink(image, [DirectPort(member.blocks, device) for member, device in pairs], lockstep=True)


@contextlib.contextmanager
def _undisturbed() -> Iterator[None]:
    """One core for client and server, and no sweeps for cycles of references: a scan leaves none."""
    gc.collect()
    gc.freeze()
    gc.disable()
    try:
        with one_core():
            yield
    finally:
        gc.enable()
        gc.unfreeze()


def _mixes(filling: Filling, own: str) -> tuple[str, ...]:
    """Names of the mixes that a filling speaks of beside the one of the cycle: each is a file of configs/mixes."""
    return tuple(sorted({move.batch.mix for move in filling if move.batch is not None} - {"", own}))


def _new_record(path: Path) -> None:
    """A simulated cycle is repeatable, so its record replaces the one before, but no other. Raises ConfigError."""
    if path.exists():
        with Reader(path) as reader:
            kept = next((row for row in reader.cycles() if row.header.facts.get("seed") is None), None)
        if kept is not None:
            where, limit = str(path.parent), "holds the record of a chamber that `dewhold run` controlled: it stays"
            raise ConfigError([Problem("command line", "--out", where, limit, "give another folder")])
    for old in (path, path.with_name(path.name + "-wal"), path.with_name(path.name + "-shm")):
        old.unlink(missing_ok=True)
