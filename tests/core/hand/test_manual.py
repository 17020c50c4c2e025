"""Loops in manual and setpoints with a trim: without a bump both ways, inside limits, and protection still decides."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

WHY = {"hours": 1.0, "reason": "trial"}


@pytest.fixture
def heating(running: Any) -> Any:
    """A cycle that heats: air far below its floor."""
    for tag in running.values:
        if tag.startswith(("TT-101", "TT-105")):
            running.values[tag] = 17.0
    running.values["TT-109"], running.values["FT-101"] = 17.0, 9.0
    running.scan(600)
    assert running.result.demands.heat_kW > 5.0
    return running


def test_a_loop_goes_into_manual_from_where_it_stands(heating: Any) -> None:
    before = heating.result.demands.heat_kW
    assert heating.order("manual", tag="heat", **WHY) == "done"
    heating.scan(100)
    (entry,) = heating.state.by_hand.entries
    assert entry.value == pytest.approx(before, abs=0.2)
    assert heating.result.demands.heat_kW == entry.value
    assert "by hand: heat" in heating.result.demands.why
    assert "by-hand" in heating.alarms()


def test_it_comes_back_to_automatic_without_a_bump_and_has_learnt_nothing_meanwhile(heating: Any) -> None:
    learnt = heating.state.allocation.temperature
    assert heating.order("manual", tag="heat", value=2.0, **WHY) == "done"
    heating.scan(1200)
    assert heating.result.demands.heat_kW == 2.0
    assert heating.state.allocation.temperature.integral == pytest.approx(learnt.integral, abs=0.2)
    assert heating.order("automatic", tag="heat") == "done"
    most, path = 60.0 / 600.0, [2.0]
    while not heating.state.by_hand.idle:
        heating.scan()
        path.append(heating.result.demands.heat_kW)
        assert len(path) < 700
    steps = [after - before for before, after in pairwise(path)]
    assert max(map(abs, steps[:-1])) <= most + 1e-9
    heating.scan()
    assert abs(heating.result.demands.heat_kW - path[-1]) < 0.2
    assert heating.broken == set()


def test_its_time_ends_like_an_order_to_automatic(heating: Any) -> None:
    assert heating.order("manual", tag="heat", value=2.0, hours=0.01, reason="trial") == "done"
    heating.scan(40)
    assert heating.state.by_hand.entries == ()
    assert 2.0 < heating.result.demands.heat_kW < 4.0


def test_manual_is_bounded_and_known_by_its_loops(heating: Any) -> None:
    assert "manual knows heat, fog, vent, fan" in heating.order("manual", tag="steam", value=1.0, **WHY)
    assert "must be 0 to 60" in heating.order("manual", tag="heat", value=61.0, **WHY)
    assert "must be 0 to 60" in heating.order("manual", tag="fog", value=-1.0, **WHY)
    assert "must be 0 to 1" in heating.order("manual", tag="vent", value=1.5, **WHY)
    assert "fan is not in manual" in heating.order("automatic", tag="fan")


def test_a_fan_put_to_nothing_takes_the_heat_with_it(heating: Any) -> None:
    assert heating.order("manual", tag="fan", value=0.0, **WHY) == "done"
    heating.scan(5)
    assert (heating.out("YC-103"), heating.out("TCV-103"), heating.out("YC-101")) == (False, 0.0, True)  # runs on
    heating.scan(300)
    assert (heating.out("YC-103"), heating.out("YC-101")) == (False, False)
    assert heating.order("automatic", tag="fan") == "done"
    assert heating.order("force", tag="YC-101", value=0, **WHY) == "done"
    heating.scan(5)
    assert (heating.out("YC-103"), heating.out("YC-101")) == (False, False)
    assert heating.broken == set()


def test_what_the_product_may_not_be_given_is_not_given_in_manual(heating: Any) -> None:
    assert heating.order("manual", tag="heat", value=30.0, **WHY) == "done"
    heating.values["TT-104A"] = 50.5
    heating.scan(30)
    assert heating.result.demands.heat_kW == 0.0


def test_stop_ends_manual(heating: Any) -> None:
    assert heating.order("manual", tag="fog", value=20.0, **WHY) == "done"
    assert heating.order("stop") == "done"
    heating.scan(3)
    assert heating.state.by_hand.entries == ()


def test_a_trim_moves_the_setpoint_gently_and_back(heating: Any) -> None:
    floor = heating.result.targets.floor_degC
    assert heating.order("trim", tag="temperature", value=0.5, **WHY) == "done"
    heating.scan(60)
    assert heating.result.targets.floor_degC == pytest.approx(floor + 2.0 / 60.0, abs=0.002)
    heating.scan(1000)
    assert heating.result.targets.floor_degC == pytest.approx(floor + 0.5)
    assert heating.alarms() & {"by-hand"} == set()  # within limits: no deviation, but it is told
    assert heating.order("release", tag="temperature") == "done"
    heating.scan(1000)
    assert heating.result.targets.floor_degC == floor
    assert heating.state.by_hand.idle
    assert [dict(event.data)["what"] for event in heating.told()] == ["begins", "ends"]
    assert heating.broken == set()


def test_a_trim_of_humidity_stays_below_what_the_chamber_allows(heating: Any) -> None:
    fog = heating.result.targets.rh_fog_below_pct
    assert heating.order("trim", tag="humidity", value=-1.0, **WHY) == "done"
    heating.scan(2000)
    assert heating.result.targets.rh_fog_below_pct == pytest.approx(fog - 1.0)
    assert "must be -1 to 1" in heating.order("trim", tag="humidity", value=1.5, **WHY)
    assert "trim knows temperature, humidity" in heating.order("trim", tag="fan", value=1.0, **WHY)


def test_a_trim_moves_what_the_clock_waits_for(heating: Any) -> None:
    """Holdback looks at the trimmed setpoint, or a trim downwards would stop the clock."""
    for tag in heating.values:
        if tag.startswith(("TT-101", "TT-105")):
            heating.values[tag] = heating.result.targets.floor_degC - 1.3
    assert heating.order("trim", tag="temperature", value=-1.0, **WHY) == "done"
    heating.scan(3600 - 300)
    assert heating.result.targets.floor_degC == pytest.approx(heating.state.sequence.floor_degC - 1.0)


def test_a_cycle_that_is_over_takes_trims_and_manual_with_it(heating: Any) -> None:
    """The next one begins as its recipe says."""
    assert heating.order("trim", tag="temperature", value=0.5, **WHY) == "done"
    assert heating.order("manual", tag="fan", value=50.0, **WHY) == "done"
    assert heating.order("force", tag="YL-190", value=1, **WHY) == "done"
    heating.state = replace(
        heating.state, sequence=replace(heating.state.sequence, state="complete", trail=("complete",))
    )
    heating.scan(2)
    assert [entry.tag for entry in heating.state.by_hand.entries] == ["YL-190"]
    assert [dict(event.data)["why"] for event in heating.told()[-2:]] == ["the cycle ends"] * 2
