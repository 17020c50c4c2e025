"""A chamber that is well, as small objects that a test changes where it wants to, and drivers for them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from controller.config.loader import load_table
from controller.core.alarms import alarms
from controller.core.alarms.alarms import AlarmsConfig
from controller.core.climate.climate import Climate
from controller.core.frames import Command, Event, Frame, Outputs
from controller.core.loops.allocation import Demands
from controller.core.points import Point, index_of, of_kind
from controller.core.product.product import Product
from controller.core.protection import protection
from controller.core.protection.protection import HEALTHY, ProtectionConfig, Verdict
from controller.core.sequence import sequence
from controller.core.sequence.recipe import ChamberLimits, End, Phase, Recipe
from controller.core.sequence.sequence import SequenceConfig, SequencePlan, SequenceState
from controller.core.setpoints import Targets

POINTS = Path(__file__).parents[2] / "configs" / "points" / "panel-a.csv"
Opened = Callable[..., Frame]
Written = Callable[..., Outputs]
TagOf = Callable[[Outputs, str], float | bool]
WORKING: dict[str, float | bool] = {
    "SC_101": 75.0, "TCV_103": 40.0, "ZC_120": 5.0, "YC_101": True, "YC_103": True, "XV_102A": True, "XV_102B": True,
    "YC_106": True,
}
CYCLE = {
    "rest": Phase(kind="rest", temperature_degC=20.0, rh_fog_below_pct=95.0, end=End(time_h=1.0)),
    "ramp": Phase(kind="ramp", floor_degC=30.0, ceiling_degC=36.0, rate_K_per_h=1.0, rh_fog_below_pct=95.0),
    "hold": Phase(
        kind="hold", floor_degC=30.0, ceiling_degC=36.0, rh_fog_below_pct=95.0, end=End(equivalent_age_h=20.0)
    ),
    "cooldown": Phase(kind="cooldown", temperature_degC=26.0, rate_K_per_h=2.0),
    "vent": Phase(kind="vent", temperature_degC=20.0, end=End(time_h=0.5)),
}


@pytest.fixture(scope="session")
def points() -> tuple[Point, ...]:
    """The point list of the demo panel."""
    return load_table(POINTS, Point)


@pytest.fixture
def air() -> Climate:
    """An even chamber at 30 degC, dew point 0.3 K below its coldest surface."""
    return Climate(
        temperature_degC=30.0, coldest_degC=29.9, hottest_degC=30.1, spread_K=0.2, dew_point_degC=29.4,
        humidity_ratio=0.0264, rh_pct=96.6, surface_degC=29.7, surface="board bay 6 level 1", dew_limit_degC=29.55,
        dew_margin_K=0.3, supply_degC=31.0, return_degC=30.0, hall_degC=15.0, outdoor_degC=8.0,
        outdoor_humidity_ratio=0.005, airflow_kg_per_s=9.0, fan_kW=4.0, heat_kW=10.0, fog_kg_per_h=5.0,
        temperature_ok=True, moisture_ok=True, surface_ok=True,
    )


@pytest.fixture
def product() -> Product:
    """Product of 12 h equivalent age, a little warmer than the air and hardly drying."""
    return Product(
        core_degC=31.0, core_degC_max=32.0, surface_degC=30.2, drying_kg_per_m2h=0.01, word="neutral", age_h_min=12.0,
        age_h_mean=12.5, age_h_max=13.0, strength_MPa_min=5.0, ready_fraction=0.0, ok=True,
    )


@pytest.fixture
def frame(points: tuple[Point, ...]) -> Frame:
    """Every reading good at 25, every contact closed."""
    analog, contacts = len(of_kind(points, "AI")), len(of_kind(points, "DI"))
    return Frame((25.0,) * analog, (0,) * analog, ("",) * analog, (True,) * contacts, 0)


@pytest.fixture
def opened(frame: Frame, points: tuple[Point, ...]) -> Callable[..., Frame]:
    """A frame with the named contacts open."""
    columns = index_of(points, "DI")

    def open_(*tags: str, of: Frame = frame) -> Frame:
        found = {columns[tag] for tag in tags}
        return replace(of, discrete=tuple(on and n not in found for n, on in enumerate(of.discrete)))

    return open_


@pytest.fixture
def reading(frame: Frame, points: tuple[Point, ...]) -> Callable[..., Frame]:
    """A frame with one reading changed."""
    columns = index_of(points, "AI")

    def read(tag: str, value: float, quality: int = 0) -> Frame:
        column = columns[tag]
        values, qualities = list(frame.values), list(frame.qualities)
        values[column], qualities[column] = value, quality
        return replace(frame, values=tuple(values), qualities=tuple(qualities))

    return read


@pytest.fixture
def written(points: tuple[Point, ...]) -> Callable[..., Outputs]:
    """Outputs by tag; what is not named is 0 or off."""

    def write(**by_tag: float | bool) -> Outputs:
        named = {tag.replace("_", "-"): value for tag, value in by_tag.items()}
        return Outputs(
            tuple(float(named.get(point.tag, 0.0)) for point in of_kind(points, "AO")),
            tuple(bool(named.get(point.tag, False)) for point in of_kind(points, "DO")),
        )

    return write


@pytest.fixture
def tag_of(points: tuple[Point, ...]) -> Callable[[Outputs, str], float | bool]:
    """One output by tag."""
    analog, discrete = index_of(points, "AO"), index_of(points, "DO")

    def get(outputs: Outputs, tag: str) -> float | bool:
        return outputs.analog[analog[tag]] if tag in analog else outputs.discrete[discrete[tag]]

    return get


class Guard:
    """Protection over scans of one second; asks for the same outputs all the time."""

    def __init__(
        self, points: tuple[Point, ...], outputs: Outputs, frame: Frame, air: Climate, tag_of: TagOf, **config: Any
    ) -> None:
        self.plan = protection.bind(ProtectionConfig(**config), points)
        self.state = protection.initial(self.plan)
        self.asked, self.frame, self.air = outputs, frame, air
        self.tag_of = tag_of
        self.sequence = "running"
        self.watchdog = self.standing = False
        self.outputs = outputs
        self.verdict: Verdict = HEALTHY
        self.events: list[Event] = []

    def scan(self, scans: int = 1, reset: tuple[tuple[str, str], ...] = ()) -> Verdict:
        for _ in range(scans):
            self.state, self.outputs, self.verdict = protection.guard(
                self.plan, self.state, self.asked, self.frame, self.air, self.sequence, reset, 1.0, self.watchdog,
                self.standing,
            )
            self.events.extend(self.verdict.events)
        return self.verdict

    def on(self) -> dict[str, bool]:
        """What reaches the chamber."""
        out, tag_of = self.outputs, self.tag_of
        return {
            "heat": bool(tag_of(out, "YC-103")) or tag_of(out, "TCV-103") > 0.0,
            "fog": bool(tag_of(out, "XV-102A")) or bool(tag_of(out, "XV-102B")),
            "fan": bool(tag_of(out, "YC-101")) and tag_of(out, "SC-101") > 0.0,
            "frame": bool(tag_of(out, "YC-106")),
            "vent open": tag_of(out, "ZC-120") == 100.0,
        }


@pytest.fixture
def working(written: Written) -> Outputs:
    """Everything asked for: fan, heat, fog and the heating of the door frames."""
    return written(**WORKING)


@pytest.fixture
def make_guard(points: tuple[Point, ...], air: Climate, tag_of: TagOf) -> Callable[..., Guard]:
    """Protection as the chamber file would set it, on these outputs and this frame."""

    def make(outputs: Outputs, frame: Frame, **config: Any) -> Guard:
        return Guard(points, outputs, frame, air, tag_of, **config)

    return make


@pytest.fixture
def guard(make_guard: Callable[..., Guard], working: Outputs, frame: Frame) -> Guard:
    """A chamber that heats and fogs, and has done so for a minute."""
    made = make_guard(working, frame)
    made.scan(60)
    assert made.verdict is HEALTHY
    return made


@pytest.fixture
def bring(
    guard: Guard, opened: Opened, reading: Callable[..., Frame], frame: Frame, air: Climate
) -> Callable[[str], None]:
    """Make a cause come about; "" takes every cause away."""

    def bring_(cause: str) -> None:
        guard.frame, guard.air, guard.watchdog = frame, air, cause == "watchdog"
        if cause == "hottest":
            guard.air = replace(air, hottest_degC=48.1)
        elif cause in ("temperature_ok", "moisture_ok"):
            guard.air = replace(air, **{cause: False})
        elif cause == "age":
            guard.frame = replace(frame, age_scans=4)
        elif cause.startswith("TT-"):
            guard.frame = reading(cause, 61.0)
        elif cause not in ("", "watchdog"):
            guard.frame = opened(cause)

    return bring_


class Run:
    """Drives a sequence with a chamber that is whatever the test says."""

    def __init__(self, plan: SequencePlan, air: Climate, product: Product, dt_s: float) -> None:
        self.plan, self.air, self.product, self.dt_s = plan, air, product, dt_s
        self.state = sequence.initial(plan)
        self.targets = plan.rest
        self.effect = "none"
        self.fighting = False
        self.events: list[Event] = []
        self.sent = 0

    def scan(self, *verbs: str) -> SequenceState:
        commands = []
        for verb in verbs:
            self.sent += 1
            commands.append(Command(str(self.sent), verb, "anna"))
        self.state, self.targets, events = sequence.advance(
            self.plan, self.state, tuple(commands), self.air, self.product, self.effect, self.dt_s, self.fighting
        )
        self.events.extend(events)
        return self.state

    def at(self, degC: float) -> None:
        """Air temperature everywhere."""
        self.air = replace(self.air, temperature_degC=degC, coldest_degC=degC, hottest_degC=degC)

    def hours(self, hours: float, follow: bool = False) -> None:
        for _ in range(round(hours * 3600.0 / self.dt_s)):
            if follow:
                self.at(self.targets.floor_degC)
            self.scan()

    def outcome(self) -> str:
        """Outcome of the last command, with its reason."""
        data = dict(next(event for event in reversed(self.events) if event.kind == "command").data)
        return f"{data['outcome']} {data['reason']}".strip()


@pytest.fixture(scope="session")
def phases() -> dict[str, Phase]:
    """The phases of a whole cycle, by kind."""
    return CYCLE


@pytest.fixture(scope="session")
def make_run() -> Callable[..., Run]:
    """A sequence over some phases, in air and with product that the test may change."""

    def make(air: Climate, product: Product, *phases: Phase, dt_s: float = 60.0) -> Run:
        plan = sequence.bind(SequenceConfig(), Recipe(name="trial", phases=phases), ChamberLimits())
        return Run(plan, air, product, dt_s)

    return make


@pytest.fixture
def run(make_run: Callable[..., Run], air: Climate, product: Product) -> Run:
    """A whole cycle, idle, with air of 20 degC."""
    made = make_run(air, product, *CYCLE.values())
    made.at(20.0)
    return made


ALARM_HOLD = Phase(kind="hold", floor_degC=29.0, ceiling_degC=34.0, rh_fog_below_pct=95.0, rh_accept_pct=94.0,
             end=End(time_h=9.0))
ALARM_PLAN = sequence.bind(SequenceConfig(), Recipe(name="trial", phases=(ALARM_HOLD,)), ChamberLimits())


class AlarmPanel:
    """Alarms over scans of one second in a running hold, with whatever the test changes."""

    def __init__(
        self, points: tuple[Point, ...], outputs: Outputs, frame: Frame, air: Climate, product: Product
    ) -> None:
        self.points = points
        self.plan = alarms.bind(AlarmsConfig(), points)
        self.state = alarms.initial(self.plan)
        self.asked = self.outputs = outputs
        self.frame, self.air, self.product = frame, air, product
        self.targets: Targets = ALARM_PLAN.phases[0].targets
        self.sequence: SequenceState = replace(
            sequence.initial(ALARM_PLAN), state="running", phase=0, hold_start_s=0.0, cycle_s=1.0
        )
        self.demands = Demands(10.0, 0.0, 0.0, 75.0, 0.0, ())
        self.verdict: Verdict = HEALTHY
        self.people = alarms.NOBODY
        self.now_s = 0.0
        self.events: list[Event] = []

    def scan(self, scans: int = 1, dt_s: float = 1.0) -> None:
        for _ in range(scans):
            self.now_s += dt_s
            self.state, self.outputs, events = alarms.update(
                self.plan, self.state, self.asked, self.frame, self.air, self.targets, self.demands, self.product,
                self.sequence, self.verdict, self.now_s, dt_s, self.people,
            )
            self.events.extend(events)

    @property
    def active(self) -> set[str]:
        return {alarm.row.tag for alarm in alarms.active_list(self.plan, self.state) if alarm.state in "UA"}


@pytest.fixture
def panel(
    points: tuple[Point, ...], written: Callable[..., Outputs], frame: Frame, air: Climate, product: Product
) -> AlarmPanel:
    return AlarmPanel(points, written(), frame, air, product)
