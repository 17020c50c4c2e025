"""A tiny panel, a device in memory that keeps the heartbeat rules, and a scan that copies its input to its output."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from controller.core.frames import Command, Event, Frame, Outputs, RawInputs
from controller.core.points import Point
from controller.errors import LinkError
from controller.link.device import Device, InputBlock, OutputBlock, Pulse
from controller.link.image import Image
from controller.runtime.clock import LockstepClock
from controller.runtime.loop import Runner, Start
from controller.runtime.orders import ScriptOrders
from controller.runtime.rest import safe_outputs

POINTS = (
    Point(tag="TT-1", kind="AI", text="air", device="p", address=8, signal="4-20mA", raw_lo=4000, raw_hi=20000, hi=100),
    Point(tag="FS-1", kind="DI", text="flow", device="p", address=9, signal="contact"),
    Point(tag="TCV-1", kind="AO", text="valve", device="p", address=18, signal="percent", raw_hi=10000, hi=100),
    Point(tag="YC-1", kind="DO", text="fan", device="p", address=19, signal="contact", safe=1.0),
)
DEVICE = Device(
    name="p",
    host="127.0.0.1",
    input=InputBlock(base=0, signature=0x5A1E, map_version=1),
    output=OutputBlock(base=16),
)


@dataclass
class Panel:
    """The device: lives one scan per heartbeat it accepts. dead: exchanges that fail from now on."""

    echo: int | None = None
    lived: int = 0
    dead: int = 0
    written: list[list[int]] = field(default_factory=list)
    calls: list[str] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)
    frozen: bool = False

    def read(self) -> list[int]:
        self._call("read")
        return self.inputs()

    def write(self, words: Sequence[int]) -> None:
        self._call("write")
        self.take(words)

    def turn(self, words: Sequence[int]) -> list[int]:
        self._call("turn")
        self.take(words)
        return self.inputs()

    def close(self) -> None:
        self.calls.append("close")

    def inputs(self) -> list[int]:
        return [0x5A1E, 1, self.lived >> 16, self.lived & 0xFFFF, 0, self.echo or 0, 0, 0, 4000 + self.lived % 9000, 1]

    def take(self, words: Sequence[int]) -> None:
        newer = 1 if self.echo is None else (words[0] - self.echo) % 65536
        if 1 <= newer <= 32767 and not self.frozen:
            self.lived += newer
            self.echo = words[0]
            self.written.append(list(words))

    def _call(self, name: str) -> None:
        self.calls.append(name)
        if self.dead:
            self.dead -= 1
            raise LinkError("timeout", "no reply from p; check the cable")


@dataclass(frozen=True)
class State:
    scans: int = 0


@dataclass(frozen=True)
class Result:
    state: State
    outputs: Outputs
    frame: Frame
    events: tuple[Event, ...] = ()
    broken: tuple[str, ...] = ()


@dataclass
class Step:
    """Remembers what it was given; breaks an invariant in the scans of `breaks`."""

    breaks: frozenset[int] = frozenset()
    valve_pct: float = 25.0
    coils: tuple[bool, ...] = (True,)
    seen: list[tuple[RawInputs, tuple[Command, ...], float]] = field(default_factory=list)

    def __call__(self, state: State, raw: RawInputs, commands: tuple[Command, ...], now_s: float) -> Result:
        self.seen.append((raw, commands, now_s))
        broken = ("no heat without air",) if state.scans in self.breaks else ()
        events = tuple(Event("command", "", command.verb) for command in commands)
        frame = Frame((float(raw.analog[0]),), (0,), ("",), raw.discrete, raw.age_scans)
        return Result(State(state.scans + 1), Outputs((self.valve_pct,), self.coils), frame, events, broken)


@pytest.fixture
def panel() -> Panel:
    return Panel()


@pytest.fixture
def step() -> Step:
    return Step()


@pytest.fixture
def pulsed() -> tuple[tuple[Point, ...], Image]:
    """The tiny panel with a coil for a watchdog relay beside the fan's, and its image."""
    points = (*POINTS, replace(POINTS[-1], tag="YC-9", bit=9, safe=0.0))
    return points, Image(points, replace(DEVICE, pulse=Pulse(tag="YC-9", time_s=5.0)))


@pytest.fixture
def start() -> Start:
    return Start(state=State())


@pytest.fixture
def make_runner(panel: Panel, step: Step) -> Callable[..., Runner]:
    def make(**changes: Any) -> Runner:
        parts: dict[str, Any] = {
            "link": panel,
            "image": Image(POINTS, DEVICE),
            "clock": LockstepClock(0, 1.0),
            "orders": ScriptOrders(),
            "step": step,
            "columns": lambda _result: (1.0,),
            "safe": safe_outputs(POINTS),
            "scan_s": 1.0,
        }
        return Runner(**(parts | changes))

    return make
