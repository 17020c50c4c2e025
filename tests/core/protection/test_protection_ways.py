"""The quick way of a healthy scan and the slow way of every other are one; and what people have overridden."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest

from controller.core.climate.climate import Climate
from controller.core.frames import Frame, Outputs
from controller.core.points import Point
from controller.core.protection import protection
from controller.core.protection.protection import HEALTHY, ProtectionConfig, ProtectionPlan, ProtectionState
from controller.core.rows.own import OwnRow

Opened = Callable[..., Frame]
Written = Callable[..., Outputs]
ALL = {"YC_101": True, "SC_101": 75.0, "YC_103": True, "TCV_103": 40.0, "XV_102A": True, "YC_106": True}
STIR = {"YC_101": True, "SC_101": 75.0}
CONTACTOR = {"YC_101": True, "SC_101": 75.0, "YC_103": True}
VALVE = {"YC_101": True, "SC_101": 75.0, "TCV_103": 0.5}
OWN = OwnRow(tag="gas", text="gas", contacts=("YS-110",), working_only=True, blocks=("heat",), effect="hold",
             cause="it leaks", consequence="it smells", action="air the room")


def ask(written: Written, story: list[tuple[dict[str, float | bool], int]]) -> list[Outputs]:
    return [written(**wanted) for wanted, scans in story for _ in range(scans)]


STORIES = [
    [(ALL, 200), (STIR, 100), ({}, 100), (STIR, 5), ({}, 30)],
    [(CONTACTOR, 30), (STIR, 170), (STIR, 30), ({}, 5), (ALL, 5)],
    [(VALVE, 30), (STIR, 181), ({}, 2), (STIR, 9), (STIR, 3)],
    [({}, 5), (ALL, 12), ({}, 190), (ALL, 3)],
]


@pytest.mark.parametrize("story", STORIES)
@pytest.mark.parametrize("own", [(), (OWN,)])
def test_a_healthy_scan_leaves_the_same_state_by_the_quick_way_and_by_the_slow_one(
    points: tuple[Point, ...], frame: Frame, air: Climate, written: Written, own: tuple[OwnRow, ...],
    story: list[tuple[dict[str, float | bool], int]],
) -> None:
    """Goal: the quick way is only quicker. Method: each scan of a healthy story both ways, from one state. What
    differs is said: the slow way names heat as blocked while the fan is off, the quick one is silent."""
    plan = protection.bind(ProtectionConfig(row=own), points)
    state = protection.initial(plan)
    for asked in ask(written, story):
        quick = protection.guard(plan, state, asked, frame, air, "running", (), 1.0)
        slow = protection.guard(plan, replace(state, quiet=False), asked, frame, air, "running", (), 1.0)
        assert quick[:2] == slow[:2]
        assert replace(quick[2], blocked=()) == replace(slow[2], blocked=())
        assert quick[2].blocked == slow[2].blocked or (quick[2] is HEALTHY and slow[2].blocked == ("heat",))
        state = quick[0]


@pytest.mark.parametrize("bad_counts", [False, True])
def test_a_state_that_changes_nothing_is_passed_on(
    points: tuple[Point, ...], frame: Frame, air: Climate, written: Written, bad_counts: bool
) -> None:
    """At rest and at work, with a row of the chamber's own too: a scan makes no object that it need not make."""
    plan = protection.bind(ProtectionConfig(row=(OWN,), supply_bad_counts=bad_counts), points)
    idle = protection.initial(plan)
    assert protection.guard(plan, idle, written(), frame, air, "running", (), 1.0)[0] is idle
    state = idle
    for _ in range(20):
        state, outputs, _verdict = protection.guard(plan, state, written(**ALL), frame, air, "running", (), 1.0)
    after, outputs, verdict = protection.guard(plan, state, asked := written(**ALL), frame, air, "running", (), 1.0)
    assert after is state
    assert outputs is asked
    assert verdict is HEALTHY


def test_at_first_nothing_has_tripped_and_the_fan_is_off(points: tuple[Point, ...]) -> None:
    plan = protection.bind(ProtectionConfig(), points)
    rows = len(plan.rows)
    assert protection.initial(plan) == ProtectionState((0.0,) * rows, (False,) * rows, (), 0.0, 0.0, 100.0, True)


def test_the_run_on_counts_from_the_last_heat_while_the_fan_stirs(
    make_guard: Callable[..., Any], written: Written, frame: Frame
) -> None:
    guard = make_guard(written(**ALL), frame)
    guard.scan(30)
    guard.asked = written(**STIR)
    guard.scan(100)
    guard.asked = written()
    guard.scan(80)
    assert guard.on()["fan"]
    guard.scan()
    assert not guard.on()["fan"]


def test_what_a_row_takes_is_off_to_the_last_digit(guard: Any, opened: Opened) -> None:
    """An output is what is recorded and compared: off is False and 0.0, nothing that only counts as such."""
    guard.frame = opened("HS-103")
    guard.scan()
    assert all(type(on) is bool for on in guard.outputs.discrete)
    for tag in ("YC-101", "YC-103", "XV-102A", "XV-102B", "YC-106"):
        assert guard.tag_of(guard.outputs, tag) is False
    assert (guard.tag_of(guard.outputs, "SC-101"), guard.tag_of(guard.outputs, "TCV-103")) == (0.0, 0.0)


def test_a_fan_kept_running_is_said_though_nothing_is_blocked(
    make_guard: Callable[..., Any], written: Written, frame: Frame
) -> None:
    guard = make_guard(written(**ALL), frame)
    guard.scan(30)
    guard.asked = written()
    assert guard.scan() == replace(HEALTHY, forced=True)


def test_a_row_that_takes_nothing_away_still_acts_on_the_sequence_as_long_as_it_stands(
    make_guard: Callable[..., Any], opened: Opened, written: Written, frame: Frame
) -> None:
    guard = make_guard(written(**STIR), frame, row=(replace(OWN, blocks=()),))
    guard.scan(30)
    guard.frame = opened("YS-110")
    for _ in range(3):
        verdict = guard.scan()
        assert (verdict.effect, verdict.trips, verdict.first_out) == ("hold", ("gas",), ("gas",))
        assert (verdict.blocked, verdict.forced) == ((), False)


@pytest.mark.parametrize("heat", [CONTACTOR, VALVE])
def test_either_contactor_or_valve_alone_is_heat(
    make_guard: Callable[..., Any], written: Written, frame: Frame, heat: dict[str, float | bool]
) -> None:
    guard = make_guard(written(**heat), frame)
    guard.scan(30)
    guard.asked = written()
    assert guard.scan() is not None
    assert guard.on()["fan"]


@pytest.mark.parametrize(("state", "trips"), [("running", ("gas",)), ("held", ("gas",)), ("idle", ())])
def test_a_row_of_a_working_chamber_trips_only_there(
    points: tuple[Point, ...], opened: Opened, frame: Frame, air: Climate, written: Written, state: str,
    trips: tuple[str, ...],
) -> None:
    plan = protection.bind(ProtectionConfig(row=(OWN,)), points)
    before = protection.initial(plan)
    assert protection.guard(plan, before, written(), opened("YS-110"), air, state, (), 1.0)[2].trips == trips
    assert protection.guard(plan, before, written(), frame, air, state, (), 1.0)[2].trips == ()


def test_by_default_doors_are_not_daily_work(
    points: tuple[Point, ...], opened: Opened, air: Climate, written: Written
) -> None:
    plan = protection.bind(ProtectionConfig(delay_s={"door-open": 0.0, "door-long": 0.0}), points)
    verdict = protection.guard(plan, protection.initial(plan), written(), opened("ZS-101D"), air, "running", (), 1.0)[2]
    assert (verdict.trips, verdict.effect) == (("door-open",), "door")


@dataclass
class Overridden:
    """What people have overridden."""

    bypassed: tuple[int, ...]
    frame: Frame
    air: Climate
    locked: bool = False


class Site:
    """Protection with something overridden: control sees `shown`, the sensors say `measured`."""

    def __init__(self, plan: ProtectionPlan, asked: Outputs, well: Frame, air: Climate) -> None:
        self.plan, self.asked, self.air = plan, asked, air
        self.state = protection.initial(plan)
        self.shown = self.measured = well
        self.bypassed: tuple[int, ...] = ()
        self.locked = False

    def scan(self, scans: int, sequence: str = "running", watchdog: bool = False, standing: bool = False) -> Any:
        for _ in range(scans):
            hands = Overridden(self.bypassed, self.measured, self.air, self.locked)
            self.state, self.outputs, verdict = protection.guard(
                self.plan, self.state, self.asked, self.shown, self.air, sequence, (), 1.0, watchdog, standing, hands
            )
        return verdict


@pytest.fixture
def site(points: tuple[Point, ...], frame: Frame, air: Climate, written: Written) -> Site:
    return Site(protection.bind(ProtectionConfig(), points), written(**ALL), frame, air)


@pytest.mark.parametrize("which", ["shown", "measured"])
def test_what_is_shown_and_what_is_measured_can_both_trip(site: Site, opened: Opened, which: str) -> None:
    setattr(site, which, opened("TZS-103"))
    assert site.scan(1).trips == ("limiter",)


def test_a_bypassed_row_and_no_other_is_left_out(site: Site, opened: Opened) -> None:
    numbers = [row.tag for row in site.plan.rows]
    site.shown = site.measured = opened("PS-102", "TZS-103")
    site.bypassed = (numbers.index("fog-pressure"),)
    assert site.scan(10).trips == ("limiter",)


def test_at_rest_overriding_something_makes_no_fault_of_a_watchdog_or_missing_fog_water(
    site: Site, opened: Opened, written: Written
) -> None:
    site.asked = written()
    site.shown = site.measured = opened("PS-102")
    assert site.scan(100, sequence="idle", watchdog=True).trips == ()
    assert site.scan(10, watchdog=True).trips == ("watchdog", "fog-pressure")


def test_doors_of_a_standing_climate_stay_daily_work_while_something_is_overridden(site: Site, opened: Opened) -> None:
    site.shown = site.measured = opened("ZS-101C")
    assert site.scan(100, standing=True).trips == ()
    assert site.scan(100).trips == ("door-open",)


@pytest.mark.parametrize("which", ["shown", "measured"])
def test_flow_that_is_missing_on_either_takes_the_heat(site: Site, opened: Opened, which: str) -> None:
    site.scan(20)
    assert site.outputs.discrete[site.plan.heat_run]
    setattr(site, which, opened("FS-101"))
    verdict = site.scan(1)
    assert not site.outputs.discrete[site.plan.heat_run]
    assert verdict.blocked == ("heat",)


def test_a_fan_put_off_by_hand_runs_on_without_heat(site: Site, written: Written) -> None:
    """The run-on carries heat away; with heat still asked for it would never end."""
    site.scan(20)
    site.asked = written(**{**ALL, "YC_101": False})
    verdict = site.scan(1)
    assert site.outputs.discrete[site.plan.fan_run]
    assert not site.outputs.discrete[site.plan.heat_run]
    assert "heat" in verdict.blocked
    site.scan(180)
    assert not site.outputs.discrete[site.plan.fan_run]


def test_a_lock_takes_all_that_moves_and_stops_the_clock(site: Site) -> None:
    site.locked = True
    verdict = site.scan(1)
    assert (verdict.effect, verdict.trips, verdict.forced) == ("hold", (), True)
    assert verdict.blocked == ("heat", "fog", "fan", "frame heat")
    assert not any(site.outputs.discrete[column] for column in (site.plan.fan_run, site.plan.heat_run))
