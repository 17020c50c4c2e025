"""Which of the rows that have tripped wait for nothing but a reset."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from controller.core.protection.plan import ProtectionPlan
from controller.core.protection.protection import ProtectionState
from controller.page.live.places import places
from controller.page.live.trips import cause_gone, tripped
from controller.page.live.watch import ChamberWatch
from controller.page.live.which import channels


@pytest.fixture
def plan(data: Path) -> ProtectionPlan:
    watch = ChamberWatch(places(data).chambers[0])
    watch.poll()
    assert watch.bound is not None
    found = watch.bound.plan.protection
    watch.close()
    return found


def test_an_alarm_of_a_probe_says_which(data: Path) -> None:
    watch = ChamberWatch(places(data).chambers[0])
    watch.poll()
    assert watch.bound is not None and watch._state is not None and watch._glance is not None
    newest, state = watch._glance.newest(watch.bound.header), watch._state
    assert newest is not None
    assert channels(watch.bound.points, newest, state) == {}
    lost = newest._replace(qualities=(2, *newest.qualities[1:]))
    state = replace(state, frozen=replace(state.frozen, frozen=(2, 3)))
    found = channels(watch.bound.points, lost, state)
    assert found == {"probe-bad": ["TT-101A"], "probe-frozen": ["TT-101C", "TT-101D"]}
    watch.close()


def state_of(plan: ProtectionPlan, tags: tuple[str, ...], timer_s: float = 0.0) -> ProtectionState:
    on = tuple(row.tag in tags for row in plan.rows)
    return ProtectionState(tuple(timer_s if one else 0.0 for one in on), on, tags[:1], 0.0, 0.0, 100.0, False)


def test_what_a_circuit_took_waits_for_a_reset_once_its_contact_is_closed(plan: ProtectionPlan) -> None:
    state = state_of(plan, ("person-inside",))
    closed = (True,) * (1 + max(plan.person_inside, plan.limiter, plan.emergency_stop))
    pressed = tuple(column != plan.person_inside for column in range(len(closed)))
    assert tripped(plan, state) == ["person-inside"]
    assert cause_gone(plan, state, closed, 0) == ["person-inside"]
    assert cause_gone(plan, state, pressed, 0) == []


def test_a_row_with_a_delay_waits_once_its_timer_rests(plan: ProtectionPlan) -> None:
    assert cause_gone(plan, state_of(plan, ("airflow-lost",)), (), 0) == ["airflow-lost"]
    assert cause_gone(plan, state_of(plan, ("airflow-lost",), 10.0), (), 0) == []


def test_a_link_that_answers_again_waits_and_a_watchdog_is_not_guessed(plan: ProtectionPlan) -> None:
    state = state_of(plan, ("link-lost", "watchdog"))
    assert cause_gone(plan, state, (), 0) == ["link-lost"]
    assert cause_gone(plan, state, (), plan.link_age_scans_max + 1) == []


def test_what_goes_back_by_itself_waits_for_nobody(plan: ProtectionPlan) -> None:
    assert cause_gone(plan, state_of(plan, ("temperature-bad",)), (), 0) == []
    rows = tuple(replace(row, latch=True) if row.tag == "temperature-bad" else row for row in plan.rows)
    assert cause_gone(replace(plan, rows=rows), state_of(plan, ("temperature-bad",)), (), 0) == ["temperature-bad"]
