"""One scan of all channels: each judge sees what the one before it made of the frame, and is told the time."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from controller.core import judged
from controller.core.climate import climate, siblings
from controller.core.climate.siblings import AGREED, APART, SiblingsConfig
from controller.core.climate.watched import ClimateConfig, Mask, Pair
from controller.core.frames import Event, RawInputs
from controller.core.points import Point
from controller.core.signals import frozen, signals
from controller.core.signals.frozen import FROZEN, FrozenConfig

TAGS = ("T1", "T2", "T3", "M1", "M2", "M3", "X")
POINTS = (
    *(Point(tag=tag, kind="AI", text="", device="p", address=n, signal="4-20mA", raw_lo=4000, raw_hi=20000, lo=0.0,
            hi=100.0) for n, tag in enumerate(TAGS)),
    Point(tag="FS", kind="DI", text="", device="p", address=0, signal="contact"),
)
OTHER = dict.fromkeys(
    ("ceiling", "supply", "return_air", "hall", "outdoor_t", "outdoor_rh", "airflow", "fan_power", "heat_power",
     "fog_flow"), "X",
)
WARM, MOIST = 8800, 18400  # 30 degC, 90 %RH
WELL = (WARM, WARM, WARM, MOIST, MOIST, MOIST, 4000)


class Panel:
    """Three pairs and one more channel, scan by scan."""

    def __init__(self, dt_s: float = 1.0) -> None:
        watched = climate.bind(
            ClimateConfig(pairs=tuple(Pair(t=f"T{n}", rh=f"M{n}", bay=n, level=1) for n in (1, 2, 3)), **OTHER),
            POINTS, 3, 4,
        )
        self.plan = SimpleNamespace(
            dt_s=dt_s, signals=signals.bind(signals.SignalsConfig(), POINTS),
            frozen=frozen.bind(FrozenConfig(tags=("X",), time_s=120.0, airflow="FS"), POINTS),
            siblings=siblings.bind(SiblingsConfig(time_s=120.0), watched, TAGS, 0, ()),
        )
        self.state = SimpleNamespace(
            signals=signals.initial(self.plan.signals), frozen=frozen.initial(self.plan.frozen), siblings=AGREED,
            aside=SimpleNamespace(mask=None),
        )
        self.now_s = 0.0
        self.told: list[Event] = []
        self.frame: Any = None

    def scans(self, count: int, words: tuple[int, ...] = WELL) -> None:
        for _ in range(count):
            self.now_s += self.plan.dt_s
            self.state.signals, self.state.frozen, self.state.siblings, self.frame, events = judged.judge(
                self.plan, self.state, RawInputs(words, (True,)), self.now_s
            )
            self.told += events


@pytest.mark.parametrize("dt_s", [0.5, 1.0, 2.0])
def test_what_is_broken_frozen_or_apart_is_marked_and_told_by_time(dt_s: float) -> None:
    """T3 is 10 K too warm, M2 broken, X does not move: frozen after a reference and two minutes, apart after two."""
    panel = Panel(dt_s)
    words = (WARM, WARM, WARM + 1600, MOIST, 3000, MOIST, 4000)
    panel.scans(round(60.0 / dt_s))
    assert panel.frame.reasons == ("",) * 7
    panel.scans(round(118.0 / dt_s), words)
    assert panel.frame.reasons[2] == ""
    assert panel.told == []
    panel.scans(round(4.0 / dt_s), words)
    assert panel.frame.reasons == ("", "", APART, "", signals.OPEN, "", FROZEN)
    assert [event.tag for event in panel.told] == ["X", "T3"]
    panel.scans(1, words)
    assert panel.frame.reasons[2] == APART  # in every scan, not only in that of the full minute
    assert len(panel.told) == 2


def test_pairs_that_are_set_aside_are_not_judged_by_their_siblings() -> None:
    panel = Panel()
    panel.state.aside.mask = Mask((True, True, False), (), ())
    panel.scans(300, (WARM, WARM, WARM + 1600, MOIST, MOIST, MOIST, 4000))
    assert panel.frame.reasons[2] == ""


def test_siblings_are_looked_at_once_a_minute_while_all_agree(monkeypatch: pytest.MonkeyPatch) -> None:
    looked: list[float] = []
    watch = siblings.watch

    def noted(*given: Any) -> Any:
        looked.append(given[4])
        return watch(*given)

    monkeypatch.setattr(siblings, "watch", noted)
    Panel().scans(150)
    assert looked == [60.0, 120.0]


def test_a_jump_is_judged_over_the_time_of_a_scan() -> None:
    panel = Panel(dt_s=2.0)
    panel.scans(3)
    assert panel.state.signals.raw == WELL
    panel.plan.signals = signals.bind(
        signals.SignalsConfig(),
        tuple(Point(tag=tag, kind="AI", text="", device="p", address=n, signal="4-20mA", raw_lo=4000, raw_hi=20000,
                    lo=0.0, hi=62.5, rate_per_s_max=3.125) for n, tag in enumerate(TAGS)),
    )
    panel.scans(1, (WARM + 1600, *WELL[1:]))
    assert panel.frame.reasons[0] == ""
    panel.scans(1, (WARM + 3201, *WELL[1:]))
    assert panel.frame.reasons[0] == signals.JUMPED
