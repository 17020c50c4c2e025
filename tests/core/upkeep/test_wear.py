"""Hours and starts of drives: added up when something is switched, kept over a restart, by tag."""

from __future__ import annotations

import pytest

from controller.core.points import Point, of_kind
from controller.core.upkeep import wear
from controller.core.upkeep.wear import WearConfig
from controller.errors import ConfigError

PLAN_TAGS = ("YS-101", "YC-103")


@pytest.fixture
def plan(points: tuple[Point, ...]) -> wear.WearPlan:
    return wear.bind(WearConfig(drives=PLAN_TAGS), points)


def columns(points: tuple[Point, ...], fan: bool, heat: bool) -> tuple[tuple[bool, ...], ...]:
    on = {"YS-101": fan, "YC-103": heat}
    return tuple(tuple(on.get(point.tag, True) for point in of_kind(points, kind)) for kind in ("DI", "DO"))


def test_time_on_and_starts_add_up(plan: wear.WearPlan, points: tuple[Point, ...]) -> None:
    state = wear.initial(plan)
    for now_s, fan, heat in ((10, 1, 0), (100, 1, 1), (160, 1, 0), (1000, 0, 0), (1100, 1, 0)):
        state = wear.follow(plan, state, *columns(points, fan == 1, heat == 1), float(now_s))
    fan, heat = wear.upto(state, 1200.0)
    assert (fan.tag, fan.on_s, fan.starts) == ("YS-101", 990.0 + 100.0, 2)
    assert (heat.tag, heat.on_s, heat.starts, heat.last_s) == ("YC-103", 60.0, 1, 160.0)


def test_nothing_is_made_while_nothing_is_switched(plan: wear.WearPlan, points: tuple[Point, ...]) -> None:
    state = wear.follow(plan, wear.initial(plan), *columns(points, True, False), 1.0)
    assert wear.follow(plan, state, *columns(points, True, False), 2.0) is state


def test_an_outage_counts_as_standing_still_and_hours_stay_with_their_tags(
    plan: wear.WearPlan, points: tuple[Point, ...]
) -> None:
    state = wear.follow(plan, wear.initial(plan), *columns(points, True, False), 0.0)
    other = wear.bind(WearConfig(drives=("YC-106", "YS-101")), points)
    after = wear.carried(state, 600.0, other)
    known = [(drive.tag, drive.on_s, drive.starts) for drive in after.drives]
    assert known == [("YS-101", 600.0, 1), ("YC-106", 0.0, 0)]
    assert wear.upto(after, 90_000.0)[0].on_s == 600.0
    after = wear.follow(other, after, *columns(points, True, False), 90_000.0)
    assert (after.drives[0].on_s, after.drives[0].starts) == (600.0, 2)


def test_a_tag_that_is_no_contact_and_no_output_is_refused(points: tuple[Point, ...]) -> None:
    with pytest.raises(ConfigError, match=r"wear\.drives = TT-110"):
        wear.bind(WearConfig(drives=("TT-110",)), points)
