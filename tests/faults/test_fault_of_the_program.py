"""An invariant that breaks for one scan: the device gets safe outputs, and is told until a person has looked."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.frames import Command
from controller.core.invariants import invariants
from controller.runtime.clock import LockstepClock
from controller.runtime.loop import Start
from controller.runtime.orders import ScriptOrders

BROKEN = 250
RELAY, HIGH = ("YC-192", "YL-190H")


def test_one_broken_scan_is_safe_at_the_device_and_told_until_reset(
    rig: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Heat and fog at work; what the device has in force is looked at after the scan before, the broken one, later
    ones, and after acknowledge and reset."""
    check, scans = invariants.check, iter(range(10_000))
    monkeypatch.setattr(
        invariants, "check", lambda *args: ("slew",) if next(scans) == BROKEN else check(*args)
    )
    points = {point.tag: point for point in rig.session.bundle.points}
    base = rig.session.device.output.base

    def state_of(tag: str) -> bool:
        word = rig.plant.device.words_out[points[tag].address - base]
        return bool(word >> points[tag].bit & 1)

    seen: dict[int, tuple[bool, ...]] = {}
    orders = [(5, "start"), (400, "acknowledge"), (401, "reset-trips")]
    runner = rig.session.runner(
        link=rig.link, clock=LockstepClock(0, 1.0), recorder=rig,
        orders=ScriptOrders([(scan, Command(f"{verb}-{scan}", verb, "test")) for scan, verb in orders]),
    )
    start = Start(state=rig.session.fresh())
    report = runner.run(start, 410, each=lambda scan, _result: seen.__setitem__(
        scan, tuple(state_of(tag) for tag in (RELAY, HIGH, "YC-103", "YC-101"))
    ))
    assert report.invariants_broken == 1
    before, broken, after, settled = (seen[scan] for scan in (BROKEN - 1, BROKEN, 399, 405))
    assert before[:2] == (True, False)
    assert broken == (False, True, False, True)  # safe: lamps tell, heat off, the air kept moving
    assert after[:3] == (False, True, False)  # long over, but nobody has looked
    assert settled[:3] == (True, False, False)
    assert report.state.sequence.state == "aborted"
