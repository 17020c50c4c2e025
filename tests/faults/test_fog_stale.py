"""Fog water that stood too long, through the whole system: due, no fog, an alarm; flushed and said so, fog again."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from controller.config.find import SHIPPED
from controller.core.frames import Command
from controller.runtime.session import prepare


@pytest.fixture
def stagnant(rig: Any, tmp_path: Path, quick_recipe: Path) -> Any:
    """Water counts as stale after 12 min without fog."""
    folder = tmp_path / "chambers"
    folder.mkdir()
    text = (SHIPPED / "chambers" / "demo-north.toml").read_text(encoding="utf-8")
    assert "idle_h = 72.0" in text
    own = folder / "own.toml"
    own.write_text(text.replace("idle_h = 72.0", "idle_h = 0.2"), encoding="utf-8")
    rig.session = prepare(replace(rig.session.asked, chamber=str(own)))
    return rig


def test_stale_water_is_not_sprayed_until_somebody_has_flushed_it(stagnant: Any) -> None:
    """The fog switch stands off for 20 min, then it is back in automatic; fog is asked for by hand from then on."""
    rig, chamber = stagnant, stagnant.plant.chamber
    valves = ("XV-102A", "XV-102B")

    class Flushed:
        def due(self, scan: int) -> tuple[Command, ...]:
            flushed = (("item", "fog-flush"), ("note", "flushed to the drain"), ("role", "operator"))
            by_hand = (("tag", "fog"), ("value", 30.0), ("hours", 1.0), ("reason", "trial"), ("role", "engineer"))
            orders = {2000: Command("hand", "manual", "eva", by_hand), 2400: Command("flush", "done", "ana", flushed)}
            return (orders[scan],) if scan in orders else ()

    rig.more = [Flushed()]
    rig.run(3000, acts={
        60: lambda: chamber.set_condition("fog_auto", False), 1300: lambda: chamber.set_condition("fog_auto", True),
    })
    fogged = [scan for scan in range(3000) if any(rig.out(scan, tag) for tag in valves)]
    trips = [(scan, event.tag) for scan, event in rig.rows("trip")]
    (stale,) = [scan for scan, tag in trips if tag == "fog-stale"]
    assert 700 < stale < 1300
    assert not [scan for scan in fogged if stale <= scan <= 2400], "the switch is back, and still there is no fog"
    assert [scan for scan in fogged if scan > 2410], "flushed: fog comes back by itself"
    told = [event.text for _scan, event in rig.rows("duty", "fog-flush")]
    assert told[0].startswith("due: flushing of the fog water; standing water: flush lines and nozzles to the drain")
    assert told[1] == "done: flushing of the fog water, by ana: flushed to the drain"
    assert {result.state.sequence.state for result in rig.results[stale:]} == {"running"}, "the cycle goes on"
