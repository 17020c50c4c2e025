"""Every kind of fault once in a hold, with the real controller: nothing breaks, it is told, and it has an end."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from controller.rig import cycle
from controller.rig.cycle import Options, Ran
from controller.rig.plant import scene
from controller.store.reader import Reader
from plantsim.faults import KINDS, Fault, kinds_of

DT_S = 2.0
START_S, LENGTH_S, END_S = 220.0, 60.0, 580.0  # half a minute into the hold, the valve on its way; five to get over it
TARGETS = {
    "probe": "TT-101C", "humidity": "MT-101B", "drive": "heat", "throttle": "heat", "witness": "fan", "bay": "2",
    "door": "2", "word": "TT-101D", "switch": "fog",
    "circuit": "fan-isolator",
}  # fmt: skip
AMOUNTS = {"slow": 36000.0}  # so that a minute is enough to see it
# a minute without a fresh frame stops the clock, as do a door, still air and lost mains; a person restarts it
HELD = ("door-open", "belt-off", "power-dip", "circuit-open", *kinds_of("wire"))
RIDDEN = ("slow-reply", "duplicated", "stuck-register", "bit-flip")
ENDS = {**{kind: "held" for kind in HELD if kind not in RIDDEN}, "abort": "aborted"}
# in lockstep a reply that comes in time is a reply like any other
UNFELT = ("slow-reply",)
# one of each room in the gate, drawn once; all in the full run
SAMPLE = {
    random.Random(11).choice([kind.name for kind in KINDS.values() if kind.room == room])
    for room in ("sensor", "actuator", "plant", "wire", "operator")
}

Run = Callable[..., tuple[Ran, list[Any]]]


@pytest.fixture
def run(quick_recipe: Path, tmp_path: Path) -> Run:
    """A cycle of ten minutes with these faults, and the ages of its inputs scan by scan."""

    def made(*faults: Fault) -> tuple[Ran, list[Any]]:
        seen: list[Any] = []
        options = Options(
            scene=replace(scene(dt_s=DT_S), faults=faults), recipe=str(quick_recipe), link="direct",
            start=datetime(2026, 3, 2, tzinfo=UTC), hours_max=END_S / 3600.0, out=tmp_path, strict=True,
        )  # fmt: skip
        ran = cycle.run(options, lambda _part, _note: None, look=lambda _plant, result: seen.append(result))
        return ran, seen

    return made


@pytest.fixture(scope="module")
def well() -> dict[str, Any]:
    """What the run without a fault left, filled by the first test that asks."""
    return {}


@pytest.mark.parametrize("kind", [pytest.param(k, marks=() if k in SAMPLE else pytest.mark.slow) for k in KINDS])
def test_a_fault_in_the_hold_is_lived_through(kind: str, run: Run, well: dict[str, Any], tmp_path: Path) -> None:
    target, amount = TARGETS.get(KINDS[kind].target, ""), AMOUNTS.get(kind)
    fault = Fault(kind=kind, target=target, start_s=START_S, length_s=LENGTH_S, amount=amount)
    if not well:
        healthy, seen = run()
        well["trace"] = healthy.report.trace_sha256
        assert seen[int(START_S / DT_S)].state.sequence.phase == 1, "in its hold"
        assert healthy.report.state.sequence.state == "running"
    ran, seen = run(fault)
    assert (ran.report.trace_sha256 != well["trace"]) == (kind not in UNFELT)
    assert ran.report.invariants_broken == 0
    assert seen[-1].frame.age_scans == 0, "the panel is heard"
    assert ran.report.state.sequence.state == ENDS.get(kind, "running")
    assert abs(ran.plant.chamber.books.energy_closure) < 1e-9
    with Reader(tmp_path / "record.sqlite") as reader:
        noted = [(row.scan, row.text) for row in reader.journal(kind="note") if row.tag == "SIMULATION"]
    first = int(START_S / DT_S)
    assert noted[0][0] == first
    assert noted[0][1].startswith(f"simulated fault begins: {kind}")
    if ran.report.scans > first + LENGTH_S / DT_S + 1:
        assert [scan for scan, _ in noted] == [first, first + int(LENGTH_S / DT_S)]
