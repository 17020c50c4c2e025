"""A whole demo chamber, scan by scan, with air that is whatever the test says and a fan that answers its contacts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.config.bundle import Bundle, load_bundle
from controller.config.plan import bind
from controller.core import scan
from controller.core.frames import Command, Event, RawInputs
from controller.core.points import index_of, of_kind
from controller.core.rows.own import OwnRow
from controller.core.scan import ScanPlan, ScanResult
from controller.link.device import Device
from controller.link.layout import require_layout

ALARM_LINE = OwnRow(
    tag="battery", text="on battery", contacts=("YS-110",), bypassable=True, effect="none", priority="medium",
    cause="mains lost", consequence="drives may stop", action="look at the supply",
)  # fmt: skip
STILL = {
    "TT-101": 24.0, "MT-101": 93.0, "TT-105": 23.8, "TT-106": 23.9, "TT-107": 24.0, "TT-104": 24.0, "TT-108": 24.5,
    "TT-109": 24.0, "TT-110": 15.0, "TT-111": 8.0, "MT-111": 80.0, "TT-103": 70.0,
}


@pytest.fixture(scope="session")
def bundle() -> Bundle[Device]:
    return load_bundle("demo-north", "gentle", "demo-60", device_class=Device, layout=require_layout)


@pytest.fixture(scope="session")
def plan(bundle: Bundle[Device]) -> ScanPlan:
    chamber = replace(bundle.chamber, protection=replace(bundle.chamber.protection, row=(ALARM_LINE,)))
    return bind(chamber, bundle.points, bundle.recipe, bundle.mix, load_t=120.0)


class Chamber:
    """values: readings by tag; open: contacts that are open."""

    def __init__(self, plan: ScanPlan, bundle: Bundle[Device]) -> None:
        self.plan, self.points = plan, bundle.points
        self.state = scan.initial(plan, mix_degC=20.0)
        self.values = {
            point.tag: STILL.get(point.tag, STILL.get(point.tag[:6], 0.0)) for point in of_kind(self.points, "AI")
        }
        self.open: set[str] = set()
        self.scans = 0
        self.result: ScanResult | None = None
        self.events: list[Event] = []
        self.broken: set[str] = set()

    def scan(self, scans: int = 1, *commands: Command) -> ScanResult:
        for number in range(scans):
            result = scan.scan(self.plan, self.state, self._raw(), commands if number == 0 else (), float(self.scans))
            self.state, self.result = result.state, result
            self.events += result.events
            self.broken |= set(result.broken)
            self.scans += 1
        assert self.result is not None
        return self.result

    def order(self, verb: str, who: str = "ana", **args: Any) -> str:
        """Give one order; "done", or why not."""
        args.setdefault("role", "operator")
        command = Command(f"{verb}-{self.scans}", verb, who, tuple(sorted(args.items())))
        self.scan(1, command)
        data = next(dict(event.data) for event in reversed(self.events) if event.kind == "command")
        return str(data["reason"]) or str(data["outcome"])

    def out(self, tag: str) -> float | bool:
        assert self.result is not None
        analog, discrete = index_of(self.points, "AO"), index_of(self.points, "DO")
        outputs = self.result.outputs
        return outputs.analog[analog[tag]] if tag in analog else outputs.discrete[discrete[tag]]

    def alarms(self) -> set[str]:
        return {self.plan.alarms.rows[number].tag for number, life in self.state.alarms.lives if life.active}

    def told(self, kind: str = "by-hand") -> list[Event]:
        return [event for event in self.events if event.kind == kind]

    def _raw(self) -> RawInputs:
        fan = self.state.outputs.discrete[self.plan.protection.fan_run]
        closed = {"FS-101": fan, "YS-101": fan}
        words = [
            round((self.values[point.tag] - base) / gain)
            for point, (gain, base) in zip(of_kind(self.points, "AI"), self.plan.signals.scales, strict=True)
        ]
        contacts = [point.tag not in self.open and closed.get(point.tag, True) for point in of_kind(self.points, "DI")]
        return RawInputs(tuple(words), tuple(contacts), counter=self.scans)


@pytest.fixture(scope="session")
def make_chamber(plan: ScanPlan, bundle: Bundle[Device]) -> Callable[[], Chamber]:
    """Chambers of which nothing is known yet."""
    return lambda: Chamber(plan, bundle)


@pytest.fixture
def chamber(plan: ScanPlan, bundle: Bundle[Device]) -> Chamber:
    """Idle, well, judged for a minute."""
    made = Chamber(plan, bundle)
    made.scan(60)
    return made


@pytest.fixture
def running(chamber: Chamber) -> Chamber:
    """A cycle that runs."""
    assert chamber.order("start") == "done"
    chamber.scan(120)
    assert chamber.state.sequence.state == "running"
    return chamber
