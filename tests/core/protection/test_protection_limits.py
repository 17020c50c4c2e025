"""Protection at its very limits: what is still well, the last second of a time, an output that comes first."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.core.climate.climate import Climate
from controller.core.frames import Frame, Outputs
from controller.core.points import Point
from controller.core.protection import protection
from controller.core.protection.protection import HEALTHY, ProtectionConfig

Guard = Any  # what the fixtures `guard` and `make_guard` give
Opened = Callable[..., Frame]
Written = Callable[..., Outputs]
TagOf = Callable[[Outputs, str], float | bool]


@pytest.mark.parametrize(("tag", "limit"), [("TT-108", 60.0), ("TT-104A", 58.0), ("TT-104B", 58.0), ("", 48.0)])
def test_a_limit_itself_is_well_and_just_above_it_is_not(
    guard: Guard, reading: Callable[..., Frame], frame: Frame, air: Climate, tag: str, limit: float
) -> None:
    """"" is the hottest air. Also in the scan after a fault, which is judged row by row."""

    def be(value: float) -> None:
        guard.frame = reading(tag, value) if tag else frame
        guard.air = air if tag else replace(air, hottest_degC=value)

    before = guard.state
    be(limit)
    assert guard.scan(100) is HEALTHY
    assert guard.state is before
    guard.state = replace(guard.state, quiet=False)
    assert guard.scan(100) is HEALTHY
    be(limit + 0.001)
    assert len(guard.scan(100).trips) == 1


def test_a_link_is_lost_only_after_more_scans_than_allowed(guard: Guard, frame: Frame) -> None:
    guard.frame = replace(frame, age_scans=3)
    assert guard.scan(100).trips == ()
    guard.frame = replace(frame, age_scans=4)
    assert guard.scan().trips == ("link-lost",)


def test_flow_is_owed_while_the_fan_runs_on_too(guard: Guard, written: Written, opened: Opened) -> None:
    guard.asked = written()
    guard.scan(20)
    guard.frame = opened("FS-101")
    assert guard.scan(9).trips == ()
    assert guard.scan().trips == ("airflow-lost",)


def test_flow_is_owed_to_the_last_second_of_the_run_on_and_not_in_the_scan_that_stops_the_fan(
    make_guard: Callable[..., Guard], working: Outputs, written: Written, frame: Frame, opened: Opened
) -> None:
    for run_on, trips in ((179, ("airflow-lost",)), (180, ())):
        guard = make_guard(working, frame, delay_s={"airflow-lost": 0.0})
        guard.scan(60)
        guard.asked = written()
        guard.scan(run_on)
        guard.frame = opened("FS-101", "YS-101")
        assert guard.scan().trips == trips


def test_a_cause_that_comes_back_waits_for_its_whole_delay_again(guard: Guard, bring: Callable[[str], None]) -> None:
    bring("temperature_ok")
    guard.scan(5)
    bring("")
    guard.scan(60)
    assert guard.verdict.trips == ()
    bring("temperature_ok")
    assert guard.scan(4).trips == ()
    assert guard.scan().trips == ("temperature-bad",)


def test_a_lost_link_takes_heat_and_fog_and_nothing_back_that_others_took(guard: Guard, opened: Opened) -> None:
    guard.frame = replace(guard.frame, age_scans=4)
    assert guard.scan().blocked == ("heat", "fog")
    guard.frame = replace(opened("HS-103"), age_scans=4)
    verdict = guard.scan()
    assert verdict.trips == ("person-inside", "link-lost")
    assert verdict.blocked == ("heat", "fog", "fan", "frame heat")
    assert {name for name, is_on in guard.on().items() if is_on} == {"vent open"}


@pytest.mark.parametrize(("dt_s", "step_pct"), [(0.5, 1.0), (2.0, 4.0)])
def test_after_a_block_the_valve_opens_by_time_not_by_scans(
    points: tuple[Point, ...], working: Outputs, frame: Frame, opened: Opened, air: Climate, tag_of: TagOf,
    dt_s: float, step_pct: float,
) -> None:
    plan = protection.bind(ProtectionConfig(startup_s=0.0), points)
    state = protection.initial(plan)
    opening = []
    for seen in (frame, opened("FS-101"), *[frame] * 60):
        state, outputs, _verdict = protection.guard(plan, state, working, seen, air, "running", (), dt_s)
        opening.append(tag_of(outputs, "TCV-103"))
    assert opening[:2] == [40.0, 0.0]
    assert opening[2:] == [min(40.0, step_pct * number) for number in range(1, 61)]


def test_a_valve_that_has_opened_as_far_as_asked_follows_at_once(
    guard: Guard, bring: Callable[[str], None], written: Written, tag_of: TagOf
) -> None:
    bring("FS-101")
    guard.scan()
    bring("")
    guard.scan(20)
    assert tag_of(guard.outputs, "TCV-103") == 40.0
    assert guard.state.quiet
    guard.asked = written(YC_101=True, SC_101=75.0, YC_103=True, TCV_103=90.0)
    guard.scan()
    assert tag_of(guard.outputs, "TCV-103") == 90.0


def test_the_first_analog_output_can_be_the_heater(
    make_guard: Callable[..., Guard], written: Written, frame: Frame, opened: Opened, tag_of: TagOf
) -> None:
    """Column 0 is a column like any other: the heat of a valve there is seen, taken away and given back slowly."""
    asked = written(TCV_103=75.0, YC_101=True, SC_101=40.0)  # two outputs have changed places
    guard = make_guard(asked, frame, heat_valve="SC-101", fan_speed="TCV-103")
    guard.scan(30)
    assert guard.outputs == asked
    guard.frame = opened("FS-101")
    guard.scan()
    assert tag_of(guard.outputs, "SC-101") == 0.0
    guard.frame = frame
    guard.scan()
    assert tag_of(guard.outputs, "SC-101") == 2.0
    guard.asked = written()
    guard.scan()
    assert guard.outputs.discrete[guard.plan.fan_run]  # it runs on after this heat too


def test_without_a_valve_no_analog_output_is_heat(
    make_guard: Callable[..., Guard], written: Written, frame: Frame, opened: Opened
) -> None:
    """Contacts heat; whatever the analog outputs do, none of them is taken away with the heat."""
    asked = written(SC_101=75.0, YC_101=True, YC_103=True, TCV_103=40.0, ZC_120=30.0)
    guard = make_guard(asked, frame, heat_valve="")
    guard.scan(30)
    guard.frame = opened("FS-101")
    guard.scan()
    assert not guard.on()["frame"]
    assert guard.outputs.analog == asked.analog
    assert not guard.outputs.discrete[guard.plan.heat_run]


@pytest.mark.parametrize(("heat", "word"), [("gas", "burner"), ("electric", "contactor"), ("steam", "steam"),
                                            ("water", "valve")])
def test_rows_speak_of_the_heater_that_is_there(points: tuple[Point, ...], heat: Any, word: str) -> None:
    rows = {row.tag: row for row in protection.bind(ProtectionConfig(), points, heat).rows}
    assert word in rows["air-too-hot"].cause


def test_safe_outputs_are_those_of_the_point_list(points: tuple[Point, ...]) -> None:
    given = tuple(
        replace(point, safe=37.0) if point.tag == "ZC-120" else replace(point, safe=1.0) if point.tag == "YC-106"
        else point for point in points
    )
    safe = protection.bind(ProtectionConfig(), given).safe
    assert safe.analog == tuple(point.safe for point in given if point.kind == "AO")
    assert safe.discrete == tuple(point.safe == 1.0 for point in given if point.kind == "DO")
    assert True in safe.discrete


@pytest.mark.parametrize(
    ("chain", "stays_off", "comes_back"),
    [("TZS-103", {"heat"}, {"fog", "fan", "frame"}), ("HS-103", {"heat", "fog", "fan", "frame"}, set())],
)
def test_a_reset_gives_back_nothing_of_what_a_hard_wired_circuit_took_a_restart_does(
    guard: Guard, bring: Callable[[str], None], chain: str, stays_off: set[str], comes_back: set[str]
) -> None:
    bring(chain)
    guard.scan()
    guard.sequence = "held"
    bring("")
    guard.scan(reset=(("r", "anna"),))
    assert guard.verdict.trips == ()
    said = [event.text for event in guard.events if event.kind == "reset"]
    assert said[0].endswith(": reset; what it took stays off until the clock is restarted")
    for scans in (1, 500):
        guard.scan(scans)
        assert guard.verdict.first_out == ()
        assert {name for name, on in guard.on().items() if on} == comes_back
        assert set(guard.verdict.blocked) == {name.replace("frame", "frame heat") for name in stays_off}
    guard.sequence = "restarting"
    guard.scan(60)
    assert {name for name, on in guard.on().items() if on} == {"heat", "fog", "fan", "frame"}
    assert guard.verdict is HEALTHY
    guard.sequence = "held"
    assert guard.scan() is HEALTHY


def test_of_two_hard_wired_circuits_that_are_reset_together_either_keeps_what_it_took(
    guard: Guard, opened: Callable[..., Frame], frame: Frame
) -> None:
    """The one that takes more is judged first."""
    guard.frame = opened("HS-101", "TZS-103")
    guard.scan()
    guard.sequence, guard.frame = "held", frame
    guard.scan(500, reset=(("r", "anna"),))
    assert not any(guard.on().values())
    assert guard.verdict.blocked == ("heat", "fog", "fan", "frame heat")


@pytest.mark.parametrize("state", ["holding", "stopping", "stopped", "aborting", "aborted", "complete"])
def test_what_a_hard_wired_circuit_took_stays_off_in_every_state_that_only_an_order_leaves(
    guard: Guard, bring: Callable[[str], None], state: str
) -> None:
    bring("HS-103")
    guard.scan()
    guard.sequence = state
    bring("")
    guard.scan(reset=(("r", "anna"),))
    until = "the clock is restarted" if state == "holding" else "the cycle is reset"
    assert guard.events[-2].text.endswith(f": reset; what it took stays off until {until}")
    for _ in range(300):
        guard.scan()
        assert not any(guard.on().values())
    guard.sequence = "idle"
    guard.scan(60)
    assert guard.verdict is HEALTHY


@pytest.mark.parametrize(("chain", "runs_on"), [("HS-101", False), ("HS-103", False), ("TZS-103", True)])
def test_the_reset_of_what_stopped_the_fan_does_not_let_it_run_on(
    guard: Guard, bring: Callable[[str], None], written: Callable[..., Outputs], chain: str, runs_on: bool
) -> None:
    guard.scan(20)
    bring(chain)
    guard.sequence, guard.asked = "idle", written()
    guard.scan(10)
    bring("")
    guard.scan(reset=(("r", "anna"),))
    assert guard.on()["fan"] is runs_on
    guard.scan()
    assert guard.on()["fan"] is runs_on


@pytest.mark.parametrize("state", ["idle", "running", "paused"])
def test_where_nothing_waits_for_an_order_nothing_is_kept(
    guard: Guard, bring: Callable[[str], None], state: str
) -> None:
    bring("HS-103")
    guard.scan()
    guard.sequence = state
    bring("")
    guard.scan(reset=(("r", "anna"),))
    assert guard.events[-2].text.endswith(": reset")
    guard.sequence = "held"
    guard.scan(60)
    assert guard.verdict is HEALTHY


def test_what_protection_itself_tripped_is_given_back_by_the_reset(
    guard: Guard, bring: Callable[[str], None]
) -> None:
    bring("hottest")
    guard.scan(5)
    guard.sequence = "held"
    bring("")
    guard.scan(reset=(("r", "anna"),))
    guard.scan(60)
    assert guard.on()["heat"]
    assert guard.verdict is HEALTHY


@pytest.mark.parametrize("counts", [False, True])
def test_a_supply_probe_without_reading_is_too_hot_only_where_the_chamber_says_so(
    make_guard: Callable[..., Guard], working: Outputs, frame: Frame, reading: Callable[..., Frame], counts: bool
) -> None:
    guard = make_guard(working, frame, supply_bad_counts=counts)
    guard.frame = reading("TT-108", float("nan"), quality=2)
    guard.scan(9)
    assert guard.verdict.trips == ()
    guard.scan()
    assert guard.verdict.trips == (("supply-too-hot",) if counts else ())
    assert guard.on()["heat"] is not counts


def test_a_silent_panel_is_one_cause_not_a_hot_supply_too(
    make_guard: Callable[..., Guard], working: Outputs, frame: Frame, reading: Callable[..., Frame]
) -> None:
    guard = make_guard(working, frame, supply_bad_counts=True)
    guard.frame = replace(reading("TT-108", float("nan"), quality=2), age_scans=9)
    guard.scan(60)
    assert guard.verdict.trips == ("link-lost",)
