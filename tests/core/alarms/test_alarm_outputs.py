"""Lamps by priority, horn, healthy relay; one alarm acknowledged, the horn silenced, troubles of the runtime."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.core.alarms import alarms
from controller.core.alarms.alarms import AlarmsConfig
from controller.core.frames import Command, Frame, Outputs
from controller.core.points import Point, of_kind
from controller.core.protection.protection import HEALTHY
from controller.core.rows.alarms import TOLD

TagOf = Callable[[Outputs, str], float | bool]
Panel = Any  # AlarmPanel of conftest


def lamps(panel: Panel, tag_of: TagOf) -> tuple[bool, bool, bool]:
    """Beacon, horn, healthy relay."""
    return tuple(bool(tag_of(panel.outputs, tag)) for tag in ("YL-190", "YA-191", "YC-192"))  # type: ignore[return-value]


def order(verb: str, **args: Any) -> Command:
    return Command(f"{verb}-1", verb, "anna", tuple(sorted(args.items())))


def give(panel: Panel, *orders: Command) -> None:
    panel.sequence = replace(panel.sequence, for_alarms=orders)
    panel.scan()
    panel.sequence = replace(panel.sequence, for_alarms=())


def trouble(panel: Panel, tag: str, active: bool) -> None:
    give(panel, Command(f"{tag}-{active}", "trouble", "runtime", (("active", active), ("tag", tag))))


@pytest.mark.parametrize("tag", [row.tag for row in TOLD])
def test_what_the_runtime_tells_is_an_alarm_from_its_scan_on_and_drops_the_relay(
    panel: Panel, tag_of: TagOf, tag: str
) -> None:
    trouble(panel, tag, True)
    assert panel.active == {tag}
    assert lamps(panel, tag_of) == (True, True, False)
    panel.scan(100)
    trouble(panel, tag, False)
    assert not panel.active
    assert lamps(panel, tag_of)[:2] == (True, False)


def test_a_fault_of_the_program_holds_the_relay_dropped_until_somebody_resets(panel: Panel, tag_of: TagOf) -> None:
    """Goal: one broken scan at night is still seen in the morning. Method: told and taken back; acknowledge; reset."""
    trouble(panel, "program-fault", True)
    trouble(panel, "program-fault", False)
    panel.scan(1000)
    assert lamps(panel, tag_of) == (True, False, False)
    panel.sequence = replace(panel.sequence, acknowledge=True)
    panel.scan()
    assert lamps(panel, tag_of) == (True, False, False)
    panel.sequence = replace(panel.sequence, acknowledge=False, reset=(("r", "anna"),))
    panel.scan()
    assert lamps(panel, tag_of) == (False, False, True)


def test_one_alarm_is_acknowledged_by_its_tag_and_the_others_are_not(
    panel: Panel, opened: Callable[..., Frame], tag_of: TagOf
) -> None:
    panel.frame = opened("YS-110")
    panel.verdict = replace(HEALTHY, trips=("limiter",))
    panel.scan(10)
    give(panel, order("acknowledge", tag="limiter"))
    states = {one.row.tag: one.state for one in alarms.active_list(panel.plan, panel.state)}
    assert states == {"limiter": "A", "mains-bad": "U"}
    assert lamps(panel, tag_of) == (True, True, False)
    give(panel, order("acknowledge", tag="limiters"))
    refused = dict(panel.events[-1].data)
    assert refused["outcome"] == "refused"
    assert refused["reason"] == f"no alarm is called 'limiters': known are {', '.join(sorted(panel.plan.numbers))}"


def test_only_the_runtime_s_own_troubles_can_be_told(panel: Panel) -> None:
    trouble(panel, "limiter", True)
    assert panel.active == set()
    refused = dict(panel.events[-1].data)
    known = ", ".join(sorted(row.tag for row in TOLD))
    assert (refused["outcome"], refused["reason"]) == ("refused", f"no alarm is called 'limiter': known are {known}")


def test_a_silenced_horn_is_no_acknowledgement_and_sounds_again_for_the_next_alarm(
    panel: Panel, opened: Callable[..., Frame], tag_of: TagOf
) -> None:
    panel.verdict = replace(HEALTHY, trips=("limiter",))
    panel.scan(5)
    give(panel, order("silence"))
    panel.scan(100)
    assert lamps(panel, tag_of) == (True, False, False)
    assert [one.state for one in alarms.active_list(panel.plan, panel.state)] == ["U"]
    panel.frame = opened("HS-111")
    panel.scan(10)  # of low priority: the horn has nothing to say about it
    assert lamps(panel, tag_of) == (True, False, False)
    panel.verdict = replace(HEALTHY, trips=("limiter", "door-open"))
    panel.scan()
    assert lamps(panel, tag_of) == (True, True, False)


def test_a_horn_that_was_silenced_sounds_when_all_was_well_in_between(panel: Panel, tag_of: TagOf) -> None:
    panel.verdict = replace(HEALTHY, trips=("door-open",))
    panel.scan(5)
    give(panel, order("silence"))
    panel.sequence, panel.verdict = replace(panel.sequence, acknowledge=True), HEALTHY
    panel.scan(2)
    panel.sequence, panel.verdict = replace(panel.sequence, acknowledge=False), replace(HEALTHY, trips=("door-open",))
    panel.scan()
    assert lamps(panel, tag_of) == (True, True, panel.plan.rows[panel.plan.numbers["door-open"]].priority != "high")


@pytest.mark.parametrize("order_in_list", ["at the end, together", "anywhere"])
def test_lamps_by_priority_show_what_is_in_sight(
    panel: Panel, tag_of: TagOf, order_in_list: str
) -> None:
    """Goal: each lamp has its priority, with outputs side by side or scattered. Method: two more chambers' wiring."""
    tags = {"beacon_high": "YL-190H", "beacon_medium": "YL-190M", "beacon_low": "YL-190L"}
    if order_in_list == "anywhere":
        tags["beacon_low"] = "YC-106"  # the first of the contacts that nobody else has here
    panel.plan = alarms.bind(AlarmsConfig(**tags), panel.points)
    panel.asked = replace(panel.asked, analog=(12.0, 34.0, 56.0))
    seen = []
    for trips in ((), ("limiter",), ("limiter", "door-open"), ("door-open",), ()):
        panel.verdict = replace(HEALTHY, trips=trips)
        panel.sequence = replace(panel.sequence, acknowledge=True)
        panel.scan()
        seen.append([tag_of(panel.outputs, tag) for tag in tags.values()])
        assert panel.outputs.analog == panel.asked.analog
    priority = panel.plan.rows[panel.plan.numbers["door-open"]].priority
    both = [True, priority == "medium", priority == "low"]
    assert seen == [[False] * 3, [True, False, False], both, [False, *both[1:]], [False] * 3]


@pytest.mark.parametrize(
    ("tags", "names", "tail_from_end"),
    [
        ({}, ("beacon", "horn", "healthy"), None),
        ({"beacon": "", "horn": "YA-191", "healthy": "YC-192"}, ("horn", "healthy"), None),
        ({"beacon": "YC-192", "horn": "YA-191", "healthy": "YL-190"}, ("healthy", "horn", "beacon"), None),
        ({"beacon": "YC-106", "horn": "YA-191", "healthy": "YC-192"}, ("beacon", "horn", "healthy"), -1),
    ],
)
def test_outputs_side_by_side_at_the_end_are_set_as_one(
    points: tuple[Point, ...], tags: dict[str, str], names: tuple[str, ...], tail_from_end: int | None
) -> None:
    """By column, with their states while all is well; -1 where they do not follow each other to the end."""
    assert [point.tag for point in of_kind(points, "DO")][-3:] == ["YL-190", "YA-191", "YC-192"]
    found = alarms.bind(AlarmsConfig(**tags), points).lamps
    assert found.names == names
    assert found.columns == tuple(sorted(found.columns))
    assert found.quiet == tuple(name == "healthy" for name in names)
    assert found.tail == (found.columns[0] if tail_from_end is None else -1)


def test_silencing_is_answered_once_and_done(panel: Panel) -> None:
    give(panel, order("silence"))
    assert [dict(event.data) for event in panel.events] == [
        {"id": "silence-1", "verb": "silence", "who": "anna", "outcome": "done", "reason": ""}
    ]
