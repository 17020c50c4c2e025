"""A chamber whose controller writes a record on demand, and a call-out whose clocks a test moves."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest

from controller.callout.outbox import Outbox, Way
from controller.callout.plan import Plan
from controller.callout.planfile import Loaded
from controller.callout.service import Service
from controller.core.frames import Command
from controller.link.direct import DirectLink
from controller.rig.plant import build, scene
from controller.runtime.clock import LockstepClock
from controller.runtime.loop import Start
from controller.runtime.orders import ScriptOrders
from controller.runtime.session import CODEC, Asked, prepare
from controller.store.recorder import Recorder

MINUTE_MS = 60_000


@dataclass
class Chamber:
    """A simulated chamber whose controller writes a record, scan by scan on demand; as if it were a real one.

    broken: contacts that are open from now on.
    """

    folder: Path
    began_ms: int
    scans: int = 0
    broken: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.session = prepare(Asked(chamber="demo-north", recipe="gentle", mix="demo-60", load_t=120, mix_degC=20))
        self.plant = build(scene(), self.session.bundle.points, self.session.device, lockstep=True)
        header = self.session.header("direct", simulated=False)
        self.recorder = Recorder(self.folder / "record.sqlite", header, CODEC, began_ms=self.began_ms, every_scan=True)
        self.state = self.session.fresh()
        self.points = {point.tag: point for point in self.session.bundle.points}

    def live(self, scans: int, *orders: Command) -> None:
        """So many scans; the orders come in the first of them."""
        link = _Broken(DirectLink(self.plant.device), self)
        runner = self.session.runner(
            link=link, clock=LockstepClock(self.began_ms, 1.0), recorder=self.recorder,  # type: ignore[arg-type]
            orders=ScriptOrders([(self.scans, order) for order in orders]),
        )
        report = runner.run(Start(state=self.state, scan=self.scans, now_s=float(self.scans)), scans)
        self.state, self.scans = report.state, self.scans + scans
        self.recorder.commit()


class _Broken:
    """The link with contacts that a test has opened."""

    def __init__(self, link: Any, chamber: Chamber) -> None:
        self._link, self._chamber = link, chamber

    def __getattr__(self, name: str) -> Any:
        return getattr(self._link, name)

    def read(self) -> list[int]:
        return self._with(self._link.read())

    def turn(self, words: list[int]) -> list[int]:
        return self._with(self._link.turn(words))

    def _with(self, words: list[int]) -> list[int]:
        for tag in self._chamber.broken:
            point = self._chamber.points[tag]
            words[point.address] &= ~(1 << point.bit)
        return words


@dataclass
class Works:
    """A call-out with clocks that a test moves."""

    service: Service
    outbox: Outbox
    now_ms: int
    clock_s: float
    said: list[str]

    def settle(self) -> None:
        """Turns at this moment, until nothing is under way."""
        deadline = time.monotonic() + 60.0
        while time.monotonic() < deadline:
            self.service.turn()
            if all(worker.free for worker in self.service.workers):
                return
            time.sleep(0.01)
        raise AssertionError("messages do not settle")

    def later(self, minutes: float) -> None:
        """So much later, as clock and calendar go."""
        self.now_ms += round(minutes * MINUTE_MS)
        self.clock_s += 60.0 * minutes


@pytest.fixture
def chamber(tmp_path: Path, utc_of: Callable[[str], int]) -> Iterator[Chamber]:
    """At work since 01:00 in Berlin, Ben on call."""
    made = Chamber(tmp_path / "north", utc_of("2026-03-03T00:00"))
    made.live(120, Command("start", "start", "test"))
    yield made
    made.recorder.close()


@pytest.fixture
def make_works(chamber: Chamber, tmp_path: Path) -> Iterator[Callable[..., Works]]:
    made: list[Works] = []

    def make(plan: Plan, folders: list[Path] | None = None, mails_to: int = 0, calls_to: str = "") -> Works:
        mail = replace(plan.mail, port=mails_to, timeout_s=20.0) if plan.mail and mails_to else plan.mail
        hooks = tuple(replace(hook, url=calls_to or hook.url, timeout_s=20.0) for hook in plan.hooks)
        plan = replace(plan, mail=mail, hooks=hooks)
        ways = {
            person.key: (*([Way("mail", person.mail)] if person.mail else []),
                         *(Way(name, calls_to or "x") for name in person.hooks))
            for person in plan.people
        }
        outbox = Outbox(tmp_path / "callout.sqlite")
        said: list[str] = []
        works: Works = None  # type: ignore[assignment]
        now_ms = chamber.began_ms + 1000 * chamber.scans
        service = Service(
            Loaded(plan, ways, {"mail": "", "phones": "the secret"}), folders or [chamber.folder], outbox,
            say=said.append, utc_ms=lambda: works.now_ms if works else now_ms,
            clock_s=lambda: works.clock_s if works else 1000.0,
        )
        works = Works(service, outbox, now_ms, 1000.0, said)
        made.append(works)
        return works

    yield make
    for works in made:
        works.service.end()
        works.outbox.close()
