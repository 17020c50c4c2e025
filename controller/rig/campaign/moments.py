"""Moments of the quiet cycles, simulated once and kept on disk: chamber and controller, to go on from.

The folder carries a hash of the program and of the shipped files, so another state of either makes its own moments.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

import controller
import plantsim
from controller.config.find import SHIPPED
from controller.core.orders.procedure import AT_REST
from controller.core.scan import ScanResult, ScanState
from controller.core.sequence.phases import SequenceState
from controller.rig.campaign.bases import BASES, Base, orders_of, scene_of, session_of
from controller.rig.campaign.ledger import Ledger
from controller.rig.cycle import START_SCAN, linked
from controller.rig.plant import Plant, build
from controller.runtime.clock import LockstepClock
from controller.runtime.loop import Start
from controller.runtime.orders import ScriptOrders
from controller.runtime.session import CODEC, Session
from plantsim.memory import Memory

EVERY_H = 0.5
SETTLED_S = 120.0  # a phase counts as begun so long after its begin
KEPT_S = 2 * 86_400.0  # folders of other states of the program are cleared away when nobody touched them for so long
REST, STANDING = "at rest", "standing"


@dataclass(frozen=True, slots=True)
class Moment:
    """scan, now_s: of the scan that comes next. situation: kind of the phase, REST before and after a cycle."""

    base: str
    number: int
    scan: int
    now_s: float
    situation: str


@dataclass(frozen=True, slots=True)
class Loaded:
    """A moment with what goes on from it."""

    moment: Moment
    chamber: Memory
    state: ScanState


def prepare(name: str, scan_s: float) -> Path:
    """The file of a base's moments, simulated now when there is none yet. Raises InvariantError for a broken one."""
    folder = _folder()
    path = folder / f"{name.replace(' ', '-').replace(',', '')}-{scan_s:g}s.npz"
    if not path.is_file():
        kept = _simulated(name, BASES[name], scan_s)
        file, draft = tempfile.mkstemp(dir=folder)
        with os.fdopen(file, "wb") as out:
            np.savez(out, **kept)
        Path(draft).replace(path)
    return path


@lru_cache(maxsize=64)
def known(name: str, scan_s: float) -> tuple[Moment, ...]:
    """The moments of a base, in the order of time."""
    with np.load(prepare(name, scan_s)) as kept:
        rows = json.loads(str(kept["index"]))
    return tuple(Moment(name, number, *row) for number, row in enumerate(rows))


def recalled(moment: Moment, scan_s: float) -> Loaded:
    """A moment with chamber and controller."""
    with np.load(prepare(moment.base, scan_s)) as kept:
        prefix = f"{moment.number}/"
        chamber = {name.removeprefix(prefix): kept[name] for name in kept.files if name.startswith(prefix)}
    state = CODEC.load(str(chamber.pop("controller")))
    return Loaded(moment, chamber, state)


def _simulated(name: str, base: Base, scan_s: float) -> dict[str, Any]:
    """A quiet cycle, strictly; its moments by name of their arrays."""
    session = session_of(base, scan_s)
    scans = round(base.hours * 3600.0 / scan_s)
    plant = build(scene_of(base, scan_s), session.bundle.points, session.bundle.devices, lockstep=True, steps_max=scans)
    keeper = _Keeper(plant, session, scan_s)
    with linked("direct", plant, session.image) as link:
        runner = session.runner(
            link=link, clock=LockstepClock(0, scan_s), orders=ScriptOrders(orders_of(base, scan_s)),
            recorder=Ledger(), strict=True,
        )
        runner.run(Start(state=session.fresh()), max_scans=scans, until=keeper.ended, each=keeper.each)
    return {**keeper.kept, "index": np.array(json.dumps(keeper.index)), "name": np.array(name)}


class _Keeper:
    """Keeps moments: before the start, shortly after each phase began, every half hour, and at the end."""

    def __init__(self, plant: Plant, session: Session, scan_s: float) -> None:
        self._session = session
        self.kept: dict[str, Any] = {}
        self.index: list[tuple[int, float, str]] = []
        self._plant, self._scan_s = plant, scan_s
        self._every, self._settled = round(EVERY_H * 3600.0 / scan_s), round(SETTLED_S / scan_s)
        self._phase, self._since = -1, 0

    def each(self, scan: int, result: ScanResult) -> None:
        """Look at one scan."""
        sequence = result.state.sequence
        if sequence.phase != self._phase:
            self._phase, self._since = sequence.phase, scan
        begun = scan - self._since
        if scan == START_SCAN - 1 or begun == self._settled or (begun and begun % self._every == 0):
            self._keep(scan, result)

    def ended(self, result: ScanResult) -> bool:
        """Is the cycle over?"""
        return self._phase >= 0 and result.state.sequence.state in AT_REST

    def _keep(self, scan: int, result: ScanResult) -> None:
        kind = situation_of(self._session, result.state.sequence)
        prefix = f"{len(self.index)}/"
        self.index.append((scan + 1, (scan + 1) * self._scan_s, kind))
        self.kept |= {prefix + name: value for name, value in self._plant.chamber.memory().items()}
        self.kept[prefix + "controller"] = np.array(CODEC.dump(result.state))


def situation_of(session: Session, sequence: SequenceState) -> str:
    """Kind of the phase that is carried out, STANDING where doors are daily work in it, REST while none is."""
    if sequence.state in AT_REST or sequence.phase < 0:
        return REST
    phase = session.plan.sequence.phases[sequence.phase]
    return STANDING if phase.on_door_stand else phase.kind


def program() -> str:
    """Which state of the program and of the shipped files this is."""
    return _sources_sha256()[:16]


def _folder() -> Path:
    """Where moments of exactly this program and these files belong; older folders are cleared away."""
    return _made(f"moments-{program()}")


@lru_cache(maxsize=4)
def _made(name: str) -> Path:
    home = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA") or "~/.cache"
    for place in (Path(home).expanduser() / "dewhold", Path(tempfile.gettempdir()) / f"dewhold-{os.getuid()}"):
        try:
            (place / name).mkdir(mode=0o700, parents=True, exist_ok=True)
        except (OSError, RuntimeError):
            continue
        if os.access(place / name, os.W_OK):
            os.utime(place / name)
            newest = (place / name).stat().st_mtime
            for path in place.glob("moments-*"):
                if path.stat().st_mtime < newest - KEPT_S:
                    shutil.rmtree(path, ignore_errors=True)
            return place / name
    return Path(tempfile.mkdtemp(prefix="dewhold-"))


@lru_cache(maxsize=1)
def _sources_sha256() -> str:
    digest = hashlib.sha256()
    folders = (Path(controller.__file__).parent, Path(plantsim.__file__).parent, SHIPPED)
    for folder in folders:
        for path in sorted(path for path in folder.rglob("*") if path.suffix in (".py", ".toml", ".csv")):
            digest.update(str(path.relative_to(folder)).encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()
