"""What a chamber must refuse in a recipe, one fault at a time beside a recipe that it accepts."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.core.sequence.recipe import BAND_K_MIN, ChamberLimits, End, Phase, Recipe, band, problems

LIMITS = ChamberLimits()
REST = Phase(kind="rest", temperature_degC=20.0, rh_fog_below_pct=95.5, rh_accept_pct=90.0, end=End(time_h=2.0))
RAMP = Phase(kind="ramp", floor_degC=30.0, ceiling_degC=36.0, rate_K_per_h=0.8, ramp_rh_floor_pct=94.0)
HOLD = Phase(kind="hold", floor_degC=30.0, ceiling_degC=36.0, end=End(equivalent_age_h=30.0))
COOL = Phase(kind="cooldown", temperature_degC=24.0, rate_K_per_h=1.0)
VENT = Phase(kind="vent", temperature_degC=20.0, end=End(time_h=0.5))
GOOD = (REST, RAMP, HOLD, COOL, VENT)


def recipe(*phases: Phase) -> Recipe:
    return Recipe(name="trial", phases=phases)


def test_a_sound_recipe_has_no_problems() -> None:
    assert problems(recipe(*GOOD), LIMITS) == ()


@pytest.mark.parametrize(
    ("number", "changes", "field", "limit"),
    [
        (0, {"temperature_degC": None}, "temperature_degC", "either"),
        (0, {"floor_degC": 20.0}, "temperature_degC", "either"),
        (2, {"ceiling_degC": None}, "temperature_degC", "either"),
        (2, {"temperature_degC": 30.0}, "temperature_degC", "either"),
        (2, {"ceiling_degC": 30.4}, "ceiling_degC", "at least 0.5 K"),
        (2, {"ceiling_degC": 29.0}, "ceiling_degC", "at least 0.5 K"),
        (2, {"ceiling_degC": 45.1}, "ceiling_degC", "5 to 45 degC"),
        (0, {"temperature_degC": 4.0}, "temperature_degC", "5 to 45 degC"),
        (1, {"rate_K_per_h": None}, "rate_K_per_h", "above 0"),
        (1, {"rate_K_per_h": 3.1}, "rate_K_per_h", "at most 3 K/h"),
        (3, {"rate_K_per_h": 3.1}, "rate_K_per_h", "at most 3 K/h"),
        (2, {"rate_K_per_h": 1.0}, "rate_K_per_h", "only in a ramp"),
        (2, {"ramp_rh_floor_pct": 94.0}, "ramp_rh_floor_pct", "only in a ramp"),
        (2, {"rh_fog_below_pct": 99.5}, "rh_fog_below_pct", "at most 99 %"),
        (0, {"rh_fog_below_pct": 0.955, "rh_accept_pct": 0.9}, "rh_fog_below_pct", "at least 10 %"),
        (0, {"rh_accept_pct": 0.9}, "rh_accept_pct", "at least 10 %"),
        (1, {"ramp_rh_floor_pct": 0.94}, "ramp_rh_floor_pct", "at least 10 %"),
        (0, {"rh_accept_pct": 96.0}, "rh_accept_pct", "at most rh_fog_below_pct"),
        (4, {"rh_fog_below_pct": 90.0}, "rh_fog_below_pct", "0 in a vent"),
        (2, {"supply_over_return_K_max": 8.1}, "supply_over_return_K_max", "at most 8 K"),
        (2, {"fan_kg_per_s": 2.9}, "fan_kg_per_s", "3 to 12"),
        (2, {"fan_kg_per_s": 12.1}, "fan_kg_per_s", "3 to 12"),
        (2, {"end": End()}, "end", "at least one condition"),
        (2, {"end": End(time_h=2.0, by_operator=True)}, "end.by_operator", "alone"),
        (2, {"end": End(time_h=2.0, at_least_h=5.0, at_most_h=4.0)}, "end.at_least_h", "at most at_most_h"),
        (2, {"end": End(time_h=5.0, at_most_h=4.0)}, "end.time_h", "at most at_most_h"),
        (2, {"end": End(time_h=169.0)}, "end.time_h", "at most 168 h"),
        (2, {"end": End(product_degC_above=55.0)}, "end.product_degC_above", "below product_degC_max"),
        (1, {"floor_degC": 19.0}, "floor_degC", "at least 20"),
        (3, {"temperature_degC": 37.0}, "temperature_degC", "at most 36"),
    ],
)
def test_one_fault_is_found_where_it_stands(number: int, changes: dict[str, Any], field: str, limit: str) -> None:
    phases = list(GOOD)
    phases[number] = replace(phases[number], **changes)
    found = problems(recipe(*phases), LIMITS)
    match = [finding for finding in found if finding.field == f"phases[{number}].{field}"]
    assert match, found
    assert limit in match[0].limit
    assert match[0].remedy


def test_a_hold_far_above_the_phase_before_it_needs_a_ramp() -> None:
    found = problems(recipe(REST, HOLD), LIMITS)
    assert [finding.remedy for finding in found] == ["put a ramp between the two"]


def test_all_faults_come_at_once() -> None:
    bad = replace(RAMP, rate_K_per_h=None, supply_over_return_K_max=20.0)
    assert len(problems(recipe(REST, bad, replace(HOLD, end=End())), LIMITS)) == 3


def test_a_standing_climate_may_end_by_operator_only() -> None:
    assert problems(recipe(replace(HOLD, end=End(by_operator=True))), LIMITS) == ()


def test_a_band_of_exactly_the_least_width_is_accepted() -> None:
    phase = replace(HOLD, ceiling_degC=30.0 + BAND_K_MIN)
    assert problems(recipe(replace(REST, temperature_degC=30.0), phase), LIMITS) == ()
    assert band(phase) == (30.0, 30.5)
    assert band(REST) == (20.0, 20.0)
