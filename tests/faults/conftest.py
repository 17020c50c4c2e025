"""A whole system in one process: the real controller against the chamber model over a direct link, scan by scan."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

# Three minutes of rest, then a hold above the air's temperature: heat and fog are at work when trouble comes.
QUICK = """
name = "quick"
text = "into a hold within minutes"
[[phases]]
kind = "rest"
floor_degC = 20.5
ceiling_degC = 30.0
rh_fog_below_pct = 90.0
rh_accept_pct = 80.0
supply_over_return_K_max = 6.0
fan_kg_per_s = 9.0
[phases.end]
time_h = 0.05
[[phases]]
kind = "hold"
temperature_degC = 21.5
rh_fog_below_pct = 97.0
rh_accept_pct = 80.0
supply_over_return_K_max = 6.0
fan_kg_per_s = 9.0
[phases.end]
time_h = 5.0
"""


@dataclass
class Rig:
    """One chamber, its device and its controller. Everything that happened is kept, a list item a scan.

    driven: outputs that the chamber lived with, a tuple a step, in the order of plantsim.chamber.OUTPUTS.
    """

    session: Any
    plant: Any
    link: Any
    results: list[Any] = field(default_factory=list)
    journal: list[tuple[int, Any]] = field(default_factory=list)
    driven: list[tuple[float, ...]] = field(default_factory=list)
    notices: deque[Any] = field(default_factory=deque)
    report: Any = None
    more: Sequence[Any] = ()  # sources of orders beside those given to run()

    def run(
        self,
        scans: int,
        orders: Mapping[int, str] | None = None,
        acts: Mapping[int, Callable[[], object]] | None = None,
        recorder: Any = None,
        start: Any = None,
        began_ms: int = 0,
    ) -> None:
        """Run strictly: a broken invariant raises. orders: scan -> verb. acts: done between two scans, before this.

        start: where to begin; else afresh, with an order to start in scan 5. began_ms: UTC of the first scan."""
        from controller.core.frames import Command
        from controller.runtime.clock import LockstepClock
        from controller.runtime.loop import Start
        from controller.runtime.orders import MergedOrders, ScriptOrders

        given, deeds = ({} if start else {5: "start"}) | dict(orders or {}), acts or {}

        def each(scan: int, result: Any) -> None:
            self.results.append(result)
            if scan + 1 in deeds:
                deeds[scan + 1]()

        dt_s = self.session.asked.scan_s
        runner = self.session.runner(
            link=self.link,
            clock=LockstepClock(began_ms, dt_s),
            orders=MergedOrders(
                ScriptOrders((scan, Command(f"{verb}-{scan}", verb, "test")) for scan, verb in given.items()),
                *self.more,
            ),
            recorder=self if recorder is None else recorder,
            strict=True,
        )
        begin = Start(state=self.session.fresh()) if start is None else start
        self.report = runner.run(begin, max_scans=scans, each=each)
        assert self.report.invariants_broken == 0

    def add(self, row: Any) -> None:
        """The journal in memory: this is a recorder too."""
        self.journal += [(row.scan, event) for event in row.events]

    def out(self, scan: int, tag: str) -> float:
        """What the controller wrote to an output in a scan."""
        points, outputs = self.session.bundle.points, self.results[scan].outputs
        for kind, values in (("AO", outputs.analog), ("DO", outputs.discrete)):
            tags = [point.tag for point in points if point.kind == kind]
            if tag in tags:
                return float(values[tags.index(tag)])
        raise KeyError(tag)

    def contact(self, scan: int, tag: str) -> bool:
        """What the controller saw of a contact in a scan."""
        tags = [point.tag for point in self.session.bundle.points if point.kind == "DI"]
        return bool(self.results[scan].frame.discrete[tags.index(tag)])

    def state(self, scan: int) -> str:
        """Procedural state after a scan."""
        return str(self.results[scan].state.sequence.state)

    def rows(self, kind: str, tag: str | None = None) -> list[tuple[int, Any]]:
        """(scan, event) of one kind, and of one tag where given."""
        return [(scan, event) for scan, event in self.journal if event.kind == kind and tag in (None, event.tag)]


@pytest.fixture
def quick_recipe(tmp_path: Path) -> Path:
    """A recipe that is in its hold after three minutes."""
    path = tmp_path / "quick.toml"
    path.write_text(QUICK, encoding="utf-8")
    return path


@pytest.fixture
def rig(make_rig: Callable[[], Rig]) -> Rig:
    """A system at its first scan, over the direct link; replace `link` for another."""
    return make_rig()


@pytest.fixture
def make_rig(quick_recipe: Path) -> Callable[[], Rig]:
    """Makes several of them, alike."""
    return lambda: _rig(quick_recipe)


def _rig(quick_recipe: Path) -> Rig:
    from controller.link.direct import DirectLink
    from controller.rig.plant import build, scene
    from controller.runtime.session import Asked, prepare

    session = prepare(Asked(chamber="demo-north", recipe=str(quick_recipe), mix="demo-60", load_t=120, mix_degC=20))
    plant = build(scene(), session.bundle.points, session.device, lockstep=True)
    made = Rig(session, plant, DirectLink(plant.device))
    live = plant.log.step

    def step(outputs: tuple[float, ...]) -> None:
        made.driven.append(tuple(outputs))
        live(outputs)

    plant.device._chamber = _Watched(plant.log, step)
    return made


class _Watched:
    """The chamber as the device sees it, its outputs kept."""

    def __init__(self, chamber: Any, step: Callable[[tuple[float, ...]], None]) -> None:
        self._chamber = chamber
        self.step = step

    def compile(self) -> None:
        """Nothing: the kernel is compiled long ago."""

    def __getattr__(self, name: str) -> Any:
        return getattr(self._chamber, name)
