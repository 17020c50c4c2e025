"""A controller that is gone in the middle of a run: the device lives on, its watchdog acts, nothing goes on alone."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.core.frames import Command
from controller.rig.campaign import matrix, outages, trial
from controller.rig.campaign.matrix import Cell
from controller.rig.campaign.swarm import Case, Outage
from plantsim.faults import Fault

SCAN_S = 2.0
QUIET = replace(matrix.case_of(Cell("belt-off", "ramp", 2), SCAN_S), faults=(), orders=(), hours=0.4, heal_s=200.0)


def lived(case: Case, monkeypatch: pytest.MonkeyPatch) -> tuple[trial.Outcome, list[tuple[int, Any, float]]]:
    """The outcome, and (scan, result, time of the chamber) of every scan."""
    seen: list[tuple[int, Any, float]] = []
    right = trial._Watch.each

    def each(watch: Any, scan: int, result: Any) -> None:
        seen.append((scan, result, watch._chamber.time_s))
        right(watch, scan, result)

    monkeypatch.setattr(trial._Watch, "each", each)
    return trial.run(case), seen


@pytest.mark.parametrize("crashed", [True, False])
def test_the_chamber_lives_on_and_the_cycle_waits_for_people(crashed: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    outcome, seen = lived(replace(QUIET, outage=Outage(100.0, 60.0, crashed)), monkeypatch)
    assert outcome.violation is None
    scans = [scan for scan, _result, _time_s in seen]
    assert scans == [*range(50), *range(80, 720)]
    times = {scan: time_s for scan, _result, time_s in seen}
    assert times[80] - times[49] == pytest.approx(31 * SCAN_S)
    assert times[719] - times[0] == pytest.approx(719 * SCAN_S)
    states = {scan: result.state.sequence.state for scan, result, _time_s in seen}
    assert states[49] == "running"
    assert {states[scan] for scan in range(82, 720)} == {"held"}
    tripped = "watchdog" in outcome.met["protection rows"]
    assert tripped, "its outputs went to safe values, which somebody has to see"
    assert "without its controller" in outcome.met["situations"]
    assert "watchdog-late" in outcome.met["rules"]


@pytest.mark.parametrize(("length_s", "state"), [(60.0, "held"), (3590.0, "held"), (3700.0, "aborted")])
def test_a_cycle_that_was_left_for_long_is_ended(length_s: float, state: str, monkeypatch: pytest.MonkeyPatch) -> None:
    case = replace(QUIET, outage=Outage(100.0, length_s, crashed=True), hours=1.4, heal_s=4000.0)
    outcome, seen = lived(case, monkeypatch)
    assert outcome.violation is None
    assert seen[-1][1].state.sequence.state == state


def test_the_same_case_leaves_the_same_trace_and_another_outage_another() -> None:
    case = replace(QUIET, outage=Outage(100.0, 60.0, crashed=True))
    assert trial.run(case) == trial.run(case)
    assert trial.run(case).trace != trial.run(replace(case, outage=Outage(100.0, 62.0, crashed=True))).trace


@pytest.mark.parametrize("crashed", [True, False])
def test_a_fault_of_the_wire_comes_at_its_time_after_an_outage_too(
    crashed: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    fault = Fault(kind="lost-request", start_s=400.0, length_s=10.0)
    case = replace(QUIET, faults=(fault,), outage=Outage(100.0, 60.0, crashed), heal_s=420.0)
    _outcome, seen = lived(case, monkeypatch)
    aged = [scan for scan, result, _time_s in seen if result.state.memory.age_scans]
    assert aged == [201, 202, 203, 204, 205], "a request of scan n is missed by what scan n + 1 reads"


def test_a_fault_of_the_wire_at_the_moment_of_the_return_is_left_out() -> None:
    outage = Outage(100.0, 60.0, crashed=True)
    before, within, after = (
        Fault(kind="reset", start_s=start_s, length_s=10.0) for start_s in (80.0, 155.0, 170.0)
    )
    kept = outages.on_the_wire((before, within, after), outage, SCAN_S)
    assert kept == [before, replace(after, start_s=170.0 - 58.0)]
    assert outages.on_the_wire((within,), None, SCAN_S) == [within]


def test_people_let_a_cycle_go_on_after_an_outage(monkeypatch: pytest.MonkeyPatch) -> None:
    orders = tuple(
        (scan, Command(verb, verb, "anna")) for scan, verb in ((100, "reset-trips"), (110, "restart"))
    )
    outcome, seen = lived(replace(QUIET, outage=Outage(100.0, 60.0, crashed=True), orders=orders), monkeypatch)
    assert outcome.violation is None
    assert "restarting" in {result.state.sequence.state for _scan, result, _time_s in seen}
