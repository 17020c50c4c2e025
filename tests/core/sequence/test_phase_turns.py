"""Outages by their class and what is ordered after each; a fan that rests by turns; phases that dry."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.core.climate.climate import Climate
from controller.core.product.product import Product
from controller.core.sequence import phases
from controller.core.sequence.phase_kinds import AFTER, KINDS, OnOutage, Outage, classed, ordered_after, outage_words
from controller.core.sequence.phases import PhasePlan
from controller.core.sequence.recipe import End, Phase

PARK = Phase(kind="park", floor_degC=18.0, ceiling_degC=32.0, rh_fog_below_pct=90.0, fan_on_s=60.0, fan_off_s=540.0,
             end=End(by_operator=True))
DRY = Phase(kind="dry-out", floor_degC=18.0, ceiling_degC=32.0, rh_vent_above_pct=60.0, end=End(in_band=True))


@pytest.fixture
def plan(make_run: Callable[..., Any], air: Climate, product: Product) -> Callable[[Phase], PhasePlan]:
    def make(phase: Phase) -> PhasePlan:
        made: PhasePlan = make_run(air, product, phase).plan.phases[0]
        return made

    return make


@pytest.mark.parametrize(
    ("outage_s", "outage"),
    [(-5.001, "clock"), (-5.0, "short"), (0.0, "short"), (599.9, "short"), (600.0, "middle"), (3599.9, "middle"),
     (3600.0, "long"), (1e6, "long")],
)
def test_an_outage_is_classed_by_its_length(outage_s: float, outage: str) -> None:
    assert classed(outage_s) == outage


@pytest.mark.parametrize(("outage", "on_outage"), list(AFTER))
@pytest.mark.parametrize("kind", list(KINDS))
def test_what_is_ordered_after_an_outage_and_what_people_are_told_of_it(
    outage: Outage, on_outage: OnOutage, kind: Any
) -> None:
    orders = AFTER["middle", on_outage] if KINDS[kind].empty else AFTER[outage, on_outage]
    assert ordered_after(outage, on_outage, kind) == orders
    words = {("hold",): "clock stops", ("hold", "restart"): "restarts after 1 min", ("abort",): "aborts"}
    assert outage_words(outage, on_outage, kind) == words[orders]


def test_while_its_fan_rests_a_phase_asks_for_nothing_that_needs_air(plan: Callable[[Phase], PhasePlan]) -> None:
    parked = plan(PARK)
    assert parked.still == replace(parked.targets, fan_pct=0.0, heat=False, fog=False, vent=False)
    heated = plan(replace(PARK, kind="standby", rh_fog_below_pct=0.0, rh_vent_above_pct=60.0))
    assert heated.targets.heat
    assert not heated.still.heat


def test_turns_begin_with_air_and_rest_from_the_end_of_it(plan: Callable[[Phase], PhasePlan]) -> None:
    parked = plan(PARK)
    assert [phases.rests(parked, 0.0, spent_s) for spent_s in (0.0, 59.0, 60.0, 599.0, 600.0, 660.0)] == [
        False, False, True, True, False, True,
    ]
    assert not phases.rests(parked, 100.0, 99.0)
    assert phases.rests(parked, 100.0, 100.0)


@pytest.mark.parametrize(
    ("changes", "good"),
    [
        ({}, True), ({"temperature_degC": 18.0}, True), ({"temperature_degC": 17.9}, False),
        ({"temperature_degC": 32.0}, True), ({"temperature_degC": 32.1}, False),
        ({"dew_point_degC": 29.55}, True), ({"dew_point_degC": 29.6}, False), ({"surface_ok": False}, False),
        ({"temperature_degC": float("nan")}, False),
    ],
)
def test_air_that_is_not_where_it_should_be_keeps_the_fan_on_for_one_turn_more(
    plan: Callable[[Phase], PhasePlan], air: Climate, changes: dict[str, Any], good: bool
) -> None:
    """The chamber at hand has 30 degC and may have a dew point of 29.55 degC."""
    until = phases.airing_until_s(plan(PARK), 7.0, 100.0, replace(air, **changes))
    assert until == (7.0 if good else 160.0)


def test_what_dries_is_there_at_its_humidity_and_nothing_else_is(
    plan: Callable[[Phase], PhasePlan], air: Climate
) -> None:
    dry, hold = plan(DRY), plan(replace(DRY, kind="hold", rh_vent_above_pct=0.0, rh_fog_below_pct=90.0))
    assert (dry.dry_below_pct, hold.dry_below_pct) == (60.0, 0.0)
    assert plan(replace(PARK, rh_vent_above_pct=50.0)).dry_below_pct == 0.0
    for rh_pct, ok, there in ((60.0, True, True), (60.1, True, False), (50.0, False, False)):
        seen = replace(air, rh_pct=rh_pct, moisture_ok=ok)
        assert phases.in_band_now(dry, 32.0, seen) is there
        assert phases.in_band_now(hold, 32.0, seen)


def test_on_its_way_a_phase_that_dries_asks_for_the_same_but_the_setpoint(plan: Callable[[Phase], PhasePlan]) -> None:
    dry = plan(DRY)
    assert dry.targets.empty
    assert dry.targets.rh_vent_above_pct == 60.0
    assert phases.targets_at(dry, 20.0, 30.0, 0.5) == replace(
        dry.targets, floor_degC=20.0, ceiling_degC=30.0, rate_K_per_h=0.5
    )
