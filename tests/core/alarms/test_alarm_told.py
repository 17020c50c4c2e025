"""What an alarm says when it comes and goes, what the list shows, and what a wrong section is told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.core.alarms import alarms
from controller.core.alarms.alarms import AlarmsConfig, AlarmState
from controller.core.alarms.causes import NO_MEANS
from controller.core.alarms.rate import QUIET
from controller.core.climate.siblings import APART
from controller.core.frames import Command, Event, Frame, all_good
from controller.core.points import Point
from controller.core.protection.protection import HEALTHY
from controller.core.rows.alarms import ALARMS, OWN, AlarmRow, trip_of
from controller.core.rows.protection import ROWS, Row
from controller.core.signals.frozen import FROZEN
from controller.errors import ConfigError

Panel = Any  # AlarmPanel of conftest
Opened = Callable[..., Frame]


def order(verb: str, **args: Any) -> Command:
    return Command(f"{verb}-1", verb, "anna", tuple(sorted(args.items())))


def give(panel: Panel, *orders: Command) -> None:
    panel.sequence = replace(panel.sequence, for_alarms=orders)
    panel.scan()
    panel.sequence = replace(panel.sequence, for_alarms=())


def told(panel: Panel, tag: str, what: str, from_s: float, shown: bool = True) -> Event:
    row = panel.plan.rows[panel.plan.numbers[tag]]
    text = f"{row.text}: {row.cause}" if what == "comes" else f"{row.text}: over"
    return Event("alarm", tag, text, (
        ("what", what), ("priority", row.priority), ("from_s", from_s), ("shown", shown),
        ("consequence", row.consequence), ("action", row.action),
    ))


def test_at_first_nothing_is_active_hidden_or_counted(panel: Panel) -> None:
    assert alarms.initial(panel.plan) == AlarmState((), NO_MEANS, (), QUIET, (), False)


def test_an_alarm_is_told_when_it_comes_and_when_it_goes(panel: Panel, opened: Opened) -> None:
    well = panel.frame
    panel.scan(4)
    panel.frame = opened("YS-110")
    panel.scan(10)
    panel.frame = well
    panel.scan(20)
    assert panel.events == [told(panel, "mains-bad", "comes", 5.0), told(panel, "mains-bad", "goes", 5.0)]


def test_one_that_is_hidden_is_told_all_the_same_and_said_to_be_hidden(panel: Panel, opened: Opened) -> None:
    give(panel, order("out-of-service", tag="mains-bad", reason="test"))
    panel.frame = opened("YS-110")
    panel.scan(10)
    assert panel.events[1:] == [told(panel, "mains-bad", "comes", 2.0, shown=False)]
    assert panel.state.rate is QUIET  # nobody saw it, so nobody was kept busy


def test_one_that_goes_kept_nobody_busy(panel: Panel, opened: Opened) -> None:
    well = panel.frame
    panel.frame = opened("YS-110")
    panel.scan(10)
    panel.frame = well
    panel.scan(20)
    assert [tag for _at_s, tag in panel.state.rate.recent] == ["mains-bad"]


def test_the_list_says_since_when_in_which_state_and_why_hidden(panel: Panel, opened: Opened) -> None:
    give(panel, order("out-of-service", tag="in-hand", reason="fitters are here"))
    panel.frame = opened("HS-111", "YS-110")
    panel.verdict = replace(HEALTHY, trips=("limiter",))
    panel.scan(10)
    listed = [(one.row.tag, one.from_s, one.state, one.hidden) for one in alarms.active_list(panel.plan, panel.state)]
    assert listed == [
        ("limiter", 2.0, "U", ""), ("mains-bad", 2.0, "U", ""), ("in-hand", 2.0, "U", "fitters are here"),
    ]


def test_what_is_hidden_stands_last_however_urgent(panel: Panel, opened: Opened) -> None:
    give(panel, order("out-of-service", tag="mains-bad", reason="fitters are here"))
    panel.frame = opened("HS-111", "YS-110")
    panel.scan(10)
    assert [one.row.tag for one in alarms.active_list(panel.plan, panel.state)] == ["in-hand", "mains-bad"]


def test_one_on_its_way_is_not_in_the_list_and_lights_nothing(panel: Panel, opened: Opened, tag_of: Any) -> None:
    """The condition is there, its delay is not over."""
    panel.frame = opened("HS-111")
    panel.scan(4)
    assert panel.state.lives
    assert alarms.active_list(panel.plan, panel.state) == ()
    assert not tag_of(panel.outputs, "YL-190")


def test_one_that_comes_back_from_a_shelf_is_what_it_was_but_unacknowledged(panel: Panel, opened: Opened) -> None:
    panel.frame = opened("YS-110")
    panel.scan(10)
    give(panel, order("acknowledge", tag="mains-bad"))
    give(panel, order("shelve", tag="mains-bad", hours=1, reason="fitters are here"))
    (before,) = [life for number, life in panel.state.lives if number == panel.plan.numbers["mains-bad"]]
    give(panel, order("unshelve", tag="mains-bad"))
    (after,) = [life for number, life in panel.state.lives if number == panel.plan.numbers["mains-bad"]]
    assert after == replace(before, held_s=before.held_s + 1.0, unacked=True)
    assert [tag for _at_s, tag in panel.state.rate.recent] == ["mains-bad", "mains-bad"]


@pytest.mark.parametrize(
    ("reason", "quality", "tag"),
    [(FROZEN, 1, "probe-frozen"), (APART, 1, "probe-disagrees"), ("broken wire", 2, "probe-bad")],
)
def test_a_channel_says_which_alarm_it_is(panel: Panel, reason: str, quality: int, tag: str) -> None:
    """Also without any of the others, so that the first look sees each of them."""
    frame = panel.frame
    panel.frame = replace(
        frame, qualities=(quality, *frame.qualities[1:]), reasons=(reason, *frame.reasons[1:])
    )
    panel.scan(10)
    assert panel.active == {tag}


def test_an_uncertain_channel_for_any_other_reason_is_no_alarm(panel: Panel) -> None:
    panel.frame = replace(panel.frame, qualities=(1, *panel.frame.qualities[1:]),
                          reasons=("was broken a moment ago", *panel.frame.reasons[1:]))
    panel.scan(1000)
    assert panel.events == []


def test_a_chamber_with_a_battery_contact_says_when_it_runs_on_it(
    panel: Panel, points: tuple[Point, ...], opened: Opened
) -> None:
    for battery, active in (("PS-102", {"on-battery"}), ("", set())):
        panel.plan = alarms.bind(AlarmsConfig(battery=battery), points)
        panel.state = alarms.initial(panel.plan)
        panel.frame = opened("PS-102")
        panel.scan(30)
        assert panel.active == active


def test_a_chamber_without_switches_in_hand_still_watches_its_mains(
    panel: Panel, points: tuple[Point, ...], opened: Opened
) -> None:
    panel.plan = alarms.bind(AlarmsConfig(in_hand=()), points)
    panel.frame = opened("HS-111")
    panel.scan(30)
    assert panel.active == set()


def test_the_first_look_knows_the_qualities_of_a_frame_that_is_well(panel: Panel) -> None:
    assert panel.plan.good is all_good(len(panel.frame.qualities))


def test_every_unknown_tag_is_refused_by_its_field(points: tuple[Point, ...]) -> None:
    wrong = AlarmsConfig(
        mains="YS-9", battery="YS-8", in_hand=("HS-9",), beacon="YL-9", beacon_high="YL-8", beacon_medium="YL-7",
        beacon_low="YL-6", horn="YA-9", healthy="YC-9",
    )
    with pytest.raises(ConfigError) as refused:
        alarms.bind(wrong, points)
    assert {problem.field: (problem.value, problem.limit) for problem in refused.value.problems} == {
        f"alarms.{name}": (tag, f"not an {kind} point of the point list")
        for name, tag, kind in (
            ("mains", "YS-9", "DI"), ("battery", "YS-8", "DI"), ("in_hand", "HS-9", "DI"), ("beacon", "YL-9", "DO"),
            ("beacon_high", "YL-8", "DO"), ("beacon_medium", "YL-7", "DO"), ("beacon_low", "YL-6", "DO"),
            ("horn", "YA-9", "DO"), ("healthy", "YC-9", "DO"),
        )
    }


def test_alarms_speak_of_the_heater_that_is_there(points: tuple[Point, ...]) -> None:
    gas = alarms.bind(AlarmsConfig(), points, heat="gas")
    water = alarms.bind(AlarmsConfig(), points)
    number = water.numbers["temperature-low"]
    assert "burner" in gas.rows[number].cause
    assert water.rows[: len(ALARMS)] == ALARMS


def test_an_alarm_lives_by_its_row(points: tuple[Point, ...]) -> None:
    plan = alarms.bind(AlarmsConfig(), points)
    for row, manner in zip(plan.rows, plan.manners, strict=True):
        assert (manner.on_s, manner.off_s, manner.deadband, manner.latch) == (
            row.on_s, row.off_s, row.deadband, row.latch)
        assert manner.clears is (row.priority == "low")
        assert manner.tells_again
    assert plan.rows[: len(OWN)] == OWN


def test_what_nobody_may_hide_is_every_trip_the_runtime_and_what_people_did(panel: Panel) -> None:
    shown = panel.plan.orders
    assert shown.tags == {row.tag for row in ALARMS}
    assert shown.told == {"scan-late", "record-failing", "program-fault"} & shown.tags
    assert shown.told <= shown.fixed
    assert {"by-hand", "locked-out", "limiter", "door-open"} <= shown.fixed
    assert "spread-high" not in shown.fixed


def test_a_time_to_respond_is_of_an_alarm_that_there_is(points: tuple[Point, ...]) -> None:
    fits = AlarmsConfig(respond_min={"limiter": 3.0, "spread-high": 90.0})
    assert alarms.bind(fits, points).config is fits
    with pytest.raises(ConfigError) as refused:
        alarms.bind(AlarmsConfig(respond_min={"limiters": 3.0}), points)
    known = ", ".join(sorted(alarms.bind(AlarmsConfig(), points).numbers))
    assert str(refused.value).partition(": ")[2] == (
        f"alarms.respond_min.limiters = limiters: must be one of {known}; correct the tag"
    )


@pytest.mark.parametrize(
    ("tag", "priority", "minutes"), [("a", "high", 5.0), ("a", "medium", 15.0), ("a", "low", 50.0), ("b", "low", 7.0)]
)
def test_how_long_somebody_may_take(tag: str, priority: str, minutes: float) -> None:
    config = AlarmsConfig(respond_high_min=5.0, respond_medium_min=15.0, respond_low_min=50.0, respond_min={"b": 7.0})
    assert config.minutes_to_respond(tag, priority) == minutes


@pytest.mark.parametrize("row", ROWS, ids=lambda row: str(row.tag))
def test_the_alarm_of_a_trip_says_what_the_trip_says_and_lives_with_it(row: Row) -> None:
    """No delay and no latch of its own: those are the protection's."""
    assert trip_of(row) == AlarmRow(
        tag=row.tag, text=row.text, priority=row.priority, on_s=0.0, off_s=0.0, deadband=0.0, latch=False,
        working_only=False, cause=row.cause, consequence=row.consequence, action=row.action,
    )
