"""Phases on paper and as they were."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.config.find import SHIPPED
from controller.config.loader import load
from controller.core.sequence.recipe import End, Phase, Recipe
from controller.report.phases import Planned, plan_line, plan_of

REST = Phase(kind="rest", temperature_degC=20.0, end=End(time_h=2.0))
RAMP = Phase(kind="ramp", temperature_degC=32.0, rate_K_per_h=2.0, end=End(in_band=True))
HOLD = Phase(kind="hold", temperature_degC=32.0, end=End(match="all", cycle_h=24.0, equivalent_age_h=30.0))
DOWN = Phase(kind="cooldown", temperature_degC=22.0, rate_K_per_h=2.5, end=End(product_degC_below=25.0))


def recipe(*phases: Phase) -> Recipe:
    return Recipe(name="plan", phases=phases)


def test_a_plan_adds_up_by_hand() -> None:
    """Rest 2 h; 12 K at 2 K/h are 6 h; the hold ends the day; 10 K at 2.5 K/h are 4 h, or as the product cools."""
    assert plan_of(recipe(REST, RAMP, HOLD, DOWN), {}) == [
        Planned(2.0, False, 20.0, 20.0),
        Planned(6.0, False, 20.0, 32.0),
        Planned(16.0, True, 32.0, 32.0),
        Planned(4.0, True, 32.0, 22.0),
    ]


def test_a_ramp_is_planned_from_where_it_really_began() -> None:
    assert plan_of(recipe(REST, RAMP), {1: 24.0})[1] == Planned(4.0, False, 24.0, 32.0)


@pytest.mark.parametrize(
    ("end", "hours", "at_least"),
    [
        (End(equivalent_age_h=30.0), None, True),
        (End(by_operator=True), None, True),
        (End(time_h=5.0, equivalent_age_h=30.0), 5.0, False),
        (End(match="all", time_h=5.0, equivalent_age_h=30.0), 5.0, True),
        (End(match="all", time_h=5.0, cycle_h=10.0), 8.0, False),
        (End(time_h=5.0, cycle_h=10.0), 5.0, False),
    ],
)
def test_how_long_a_hold_is_planned_to_last(end: End, hours: float | None, at_least: bool) -> None:
    assert plan_of(recipe(REST, replace(HOLD, end=end)), {})[1][:2] == (hours, at_least)


def test_the_line_of_a_plan_stops_where_only_the_product_decides() -> None:
    planned = plan_of(recipe(REST, RAMP, replace(HOLD, end=End(equivalent_age_h=30.0)), DOWN), {})
    assert plan_line(planned, 20.0) == ([0.0, 2.0, 2.0, 8.0, 8.0, 20.0], [20.0, 20.0, 20.0, 32.0, 32.0, 32.0])


def test_the_phases_of_a_day_are_the_recipes_and_fill_it(day: Any) -> None:
    rows = [phase for phase, _planned in day.facts["phases"]]
    asked = load(SHIPPED / "recipes" / "gentle.toml", Recipe)
    assert [row.kind for row in rows] == [phase.kind for phase in asked.phases]
    assert all(row.over for row in rows)
    assert [row.begin_h for row in rows[1:]] == [row.end_h for row in rows[:-1]]
    assert sum(row.hours for row in rows) == pytest.approx(24.0, abs=0.01)
    hold = day.facts["summary"]["believed"]["hold"]
    assert rows[2].mean_degC == pytest.approx(hold["temperature_degC"]["mean"], abs=0.02)
    assert rows[2].min_degC == pytest.approx(hold["temperature_degC"]["min"], abs=0.02)
    assert rows[2].max_degC == pytest.approx(hold["temperature_degC"]["max"], abs=0.02)
    assert rows[2].rh_mean_pct == pytest.approx(hold["rh_pct"]["mean"], abs=0.1)
    assert rows[0].planned is not None
    assert rows[0].hours == rows[0].planned.hours == 2.0
    assert rows[1].waiting_h is not None
    assert 0.0 < rows[1].waiting_h < rows[1].hours


def test_a_phase_that_is_not_over_says_so(troubled: Any) -> None:
    (row, planned), *more = troubled.facts["phases"]
    assert more == []
    assert (row.over, row.why, planned) == (False, "not over", "2.0 h")
    assert row.end_h == pytest.approx(599 * 2 / 3600.0)
