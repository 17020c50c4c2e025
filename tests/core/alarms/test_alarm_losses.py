"""Air that the fan does not move, heat and fog that come though they are shut: told when they last, not otherwise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.core.actuation import actuation
from controller.core.alarms import alarms
from controller.core.alarms.losses import NO_LOSSES, LossConfig, Losses, LossPlan, bind, follow
from controller.core.climate.climate import Climate
from controller.core.equipment.actuators import ActuationConfig
from controller.core.frames import Frame, Outputs
from controller.core.points import Point
from controller.core.protection.protection import HEALTHY

Write = Callable[..., Outputs]
Panel = Any  # AlarmPanel of conftest
NAN = float("nan")
RUNNING: dict[str, Any] = {"YC_101": True, "SC_101": 75.0}  # 9 of the 12 kg/s at full speed
HEATING: dict[str, Any] = {**RUNNING, "YC_103": True}
QUIET = {"heat_kW": 0.0, "fog_kg_per_h": 0.0}


@pytest.fixture
def plan(points: tuple[Point, ...]) -> LossPlan:
    return bind(LossConfig(), actuation.bind(ActuationConfig(), points))


def lived(plan: LossPlan, outputs: Outputs, air: Climate, scans: int, was: Losses = NO_LOSSES) -> Losses:
    for _ in range(scans):
        was = follow(plan, was, outputs, air, True, 10.0)
    return was


def told(losses: Losses) -> set[str]:
    return {name for name in ("air", "heat", "fog") if getattr(losses, name)}


@pytest.mark.parametrize(("flow", "missing"), [(9.0, False), (7.7, False), (7.6, True), (0.0, True), (NAN, False)])
def test_air_is_missing_below_its_share_of_what_the_speed_gives(
    plan: LossPlan, written: Write, air: Climate, flow: float, missing: bool
) -> None:
    little = replace(air, airflow_kg_per_s=flow, **QUIET)
    assert told(lived(plan, written(**RUNNING), little, 59)) == set()
    assert told(lived(plan, written(**RUNNING), little, 60)) == ({"air"} if missing else set())


def test_air_that_comes_back_only_to_the_limit_stays_told(plan: LossPlan, written: Write, air: Climate) -> None:
    out = written(**RUNNING)
    gone = lived(plan, out, replace(air, airflow_kg_per_s=6.0, **QUIET), 60)
    assert told(lived(plan, out, replace(air, airflow_kg_per_s=7.8, **QUIET), 100, gone)) == {"air"}
    assert told(lived(plan, out, replace(air, airflow_kg_per_s=8.0, **QUIET), 1, gone)) == set()


@pytest.mark.parametrize("outputs", [{"SC_101": 75.0}, {"YC_101": True, "SC_101": 15.0}])
def test_a_fan_that_is_off_or_crawls_misses_no_air(
    plan: LossPlan, written: Write, air: Climate, outputs: dict[str, Any]
) -> None:
    assert told(lived(plan, written(**outputs), replace(air, airflow_kg_per_s=0.0, **QUIET), 400)) == set()


@pytest.mark.parametrize(("kW", "leaks"), [(1.5, False), (1.6, True), (NAN, False)])
def test_heat_that_comes_though_it_is_shut_is_told_once_the_coil_has_cooled(
    plan: LossPlan, written: Write, air: Climate, kW: float, leaks: bool
) -> None:
    shut, warm = written(**RUNNING), replace(air, fog_kg_per_h=0.0, heat_kW=kW)
    assert told(lived(plan, shut, warm, 90 + 59)) == set()
    assert told(lived(plan, shut, warm, 90 + 60)) == ({"heat"} if leaks else set())


def test_a_valve_that_was_told_stays_told_while_it_is_open_and_goes_when_it_shuts_tight(
    plan: LossPlan, written: Write, air: Climate
) -> None:
    cold, warm = (replace(air, fog_kg_per_h=0.0, heat_kW=kW) for kW in (0.0, 6.0))
    leaking = lived(plan, written(**RUNNING), warm, 150)
    assert told(lived(plan, written(**HEATING), warm, 500, leaking)) == {"heat"}
    assert told(lived(plan, written(**RUNNING), cold, 200, leaking)) == set()


def test_heat_that_is_asked_for_is_no_leak_however_short_its_pauses(
    plan: LossPlan, written: Write, air: Climate
) -> None:
    warm, was = replace(air, fog_kg_per_h=0.0, heat_kW=6.0), NO_LOSSES
    for _ in range(20):
        was = lived(plan, written(**HEATING), warm, 1, was)
        was = lived(plan, written(**RUNNING), warm, 120, was)
    assert told(was) == set()


def test_fog_that_flows_though_all_banks_are_shut_is_told(plan: LossPlan, written: Write, air: Climate) -> None:
    wet = replace(air, heat_kW=0.0, fog_kg_per_h=2.1)
    assert told(lived(plan, written(**RUNNING), wet, 12 + 60)) == {"fog"}
    assert told(lived(plan, written(XV_102B=True, **RUNNING), wet, 500)) == set()
    assert told(lived(plan, written(**RUNNING), replace(wet, fog_kg_per_h=2.0), 500)) == set()


def test_nothing_is_said_while_outputs_are_not_what_the_drives_do(
    plan: LossPlan, written: Write, air: Climate
) -> None:
    bad = replace(air, airflow_kg_per_s=0.0, heat_kW=20.0, fog_kg_per_h=20.0)
    was = lived(plan, written(**RUNNING), bad, 200)
    assert told(was) == {"air", "heat", "fog"}
    assert follow(plan, was, written(**RUNNING), bad, False, 10.0) == NO_LOSSES


@pytest.mark.parametrize(
    ("changes", "tag"),
    [
        ({"airflow_kg_per_s": 6.0}, "air-missing"),
        ({"heat_kW": 5.0}, "heat-leaks"),
        ({"fog_kg_per_h": 9.0}, "fog-leaks"),
    ],
)
def test_each_loss_is_an_alarm_at_rest_too_and_goes_with_its_cause(
    panel: Panel, written: Write, opened: Callable[..., Frame], changes: dict[str, float], tag: str
) -> None:
    panel.plan = alarms.bind(
        alarms.AlarmsConfig(), panel.points, drives=actuation.bind(ActuationConfig(), panel.points)
    )
    panel.asked, panel.sequence = written(**RUNNING), replace(panel.sequence, state="idle")
    well = replace(panel.air, **QUIET)
    panel.air = well
    panel.scan(3000)
    assert panel.active == set()
    panel.air = replace(well, **changes)
    panel.scan(3000)
    assert panel.active == {tag}
    assert panel.verdict is HEALTHY
    panel.frame = opened("HS-113")
    panel.scan(20)
    assert panel.active == {"in-hand"}, "a switch in hand: nobody knows what is shut"
    panel.frame = opened()
    panel.air = well
    panel.scan(3000)
    assert not panel.active & {tag}


@pytest.mark.parametrize(
    ("people", "trips", "stale_scans", "active"),
    [
        (None, (), 0, {"air-missing"}),
        (0, (), 0, {"by-hand"}),
        (1, (), 0, {"air-missing", "locked-out"}),
        (2, (), 0, {"air-missing", "work-overdue"}),
        (3, (), 0, {"air-missing", "product-left"}),
        (None, (), 1, {"link-bad"}),
        (None, ("airflow-lost",), 0, {"airflow-lost"}),
        (None, ("limiter",), 0, {"air-missing", "limiter"}),
    ],
    ids=["nobody", "by hand", "lock", "duty", "left", "silent link", "tripped for it", "tripped for another"],
)
def test_missing_air_is_not_told_beside_what_explains_it(
    panel: Panel, written: Write, people: int | None, trips: tuple[str, ...], stale_scans: int, active: set[str]
) -> None:
    panel.plan = alarms.bind(
        alarms.AlarmsConfig(), panel.points, drives=actuation.bind(ActuationConfig(), panel.points)
    )
    panel.asked, panel.sequence = written(**RUNNING), replace(panel.sequence, state="idle")
    panel.air = replace(panel.air, airflow_kg_per_s=6.0, **QUIET)
    if people is not None:
        panel.people = tuple(number == people for number in range(len(alarms.NOBODY)))
    panel.verdict = replace(HEALTHY, trips=trips)
    panel.frame = replace(panel.frame, age_scans=stale_scans)
    panel.scan(3000)
    assert panel.active == active
