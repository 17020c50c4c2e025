"""Fog water that stood, or whose tank is too warm: no fog until somebody says that it was flushed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.core.frames import Outputs
from controller.core.points import Point
from controller.core.protection import protection
from controller.core.protection.protection import ProtectionConfig

Written = Callable[..., Outputs]


@pytest.fixture
def stood(points: tuple[Point, ...], frame: Any, air: Any, tag_of: Any) -> Any:
    """Protection over scans with the fog water stale or not; asks for these outputs."""

    class Stood:
        def __init__(self) -> None:
            self.plan = protection.bind(ProtectionConfig(), points)
            self.state = protection.initial(self.plan)

        def scan(self, asked: Outputs, stale: bool, state: str = "running", reset: Any = ()) -> Any:
            self.state, self.outputs, verdict = protection.guard(
                self.plan, self.state, asked, frame, air, state, reset, 1.0, stale=stale
            )
            return verdict

        def fog(self) -> bool:
            return bool(tag_of(self.outputs, "XV-102A") or tag_of(self.outputs, "XV-102B"))

    return Stood()


@pytest.fixture
def working(written: Written) -> Outputs:
    return written(SC_101=75.0, YC_101=True, TCV_103=40.0, YC_103=True, XV_102A=True, XV_102B=True)


def test_stale_water_keeps_fog_off_and_nothing_else(stood: Any, working: Outputs, tag_of: Any) -> None:
    for _ in range(15):
        verdict = stood.scan(working, stale=True)
        assert not stood.fog()
    assert (verdict.trips, verdict.effect, verdict.blocked) == (("fog-stale",), "none", ("fog",))
    assert tag_of(stood.outputs, "YC-103") is True
    assert tag_of(stood.outputs, "YC-101") is True


def test_only_what_is_done_brings_fog_back_and_no_reset(stood: Any, working: Outputs) -> None:
    stood.scan(working, stale=False)
    assert stood.fog()
    stood.scan(working, stale=True)
    stood.scan(working, stale=True, reset=(("1", "anna"),))
    assert not stood.fog()
    stood.scan(working, stale=False)
    assert stood.fog()


def test_at_rest_it_is_no_alarm_but_nobody_forces_stale_water_out(
    stood: Any, working: Outputs, written: Written
) -> None:
    assert stood.scan(written(), stale=True, state="idle").trips == ()
    verdict = stood.scan(replace(working), stale=True, state="idle")
    assert verdict.trips == ("fog-stale",)
    assert not stood.fog()
