"""End conditions one by one: what ends a phase, in which words, and what an unset condition never does."""

from __future__ import annotations

from dataclasses import replace
from math import inf
from typing import Any

import pytest

from controller.core.product.product import Product
from controller.core.sequence import ends
from controller.core.sequence.recipe import End, Phase

HOLD = Phase(kind="hold", floor_degC=30.0, ceiling_degC=36.0)
NEVER = {"time_s": inf, "cycle_s": inf, "equivalent_age_h": inf, "above_degC": inf, "below_degC": -inf,
         "strength_MPa": inf, "in_band": False, "at_least_s": 0.0, "at_most_s": inf, "required": (),
         "by_setpoint": False, "by_product": False, "full": False, "empty": False}


def plan(**end: Any) -> ends.EndPlan:
    return ends.bind(replace(HOLD, end=End(**end)))


@pytest.mark.parametrize(
    ("end", "bound"),
    [
        ({}, {}),
        ({"time_h": 2.0}, {"time_s": 7200.0}),
        ({"cycle_h": 2.0}, {"cycle_s": 7200.0}),
        ({"equivalent_age_h": 20.0}, {"equivalent_age_h": 20.0, "by_product": True}),
        ({"product_degC_above": 40.0}, {"above_degC": 40.0, "by_product": True}),
        ({"product_degC_below": 25.0}, {"below_degC": 25.0, "by_product": True}),
        ({"strength_MPa": 9.0}, {"strength_MPa": 9.0, "by_product": True}),
        ({"in_band": True}, {"in_band": True}),
        ({"full": True}, {"full": True, "by_product": True}),
        ({"empty": True}, {"empty": True, "by_product": True}),
        ({"by_operator": True}, {}),
        ({"time_h": 3.0, "at_least_h": 1.0, "at_most_h": 4.0},
         {"time_s": 10800.0, "at_least_s": 3600.0, "at_most_s": 14400.0}),
        ({"match": "all", "time_h": 1.0, "strength_MPa": 9.0},
         {"time_s": 3600.0, "strength_MPa": 9.0, "by_product": True, "required": (0, 5)}),
        ({"match": "all", "cycle_h": 1.0, "equivalent_age_h": 2.0, "product_degC_above": 3.0,
          "product_degC_below": 4.0},
         {"cycle_s": 3600.0, "equivalent_age_h": 2.0, "above_degC": 3.0, "below_degC": 4.0, "by_product": True,
          "required": (1, 2, 3, 4)}),
        ({"match": "all", "time_h": 1.0, "empty": True},
         {"time_s": 3600.0, "empty": True, "by_product": True, "required": (0, 8)}),
        ({"match": "all", "in_band": True, "full": True},
         {"in_band": True, "full": True, "by_product": True, "required": (6, 7)}),
    ],
)
def test_conditions_in_seconds_and_what_is_not_asked_never_holds(end: dict[str, Any], bound: dict[str, Any]) -> None:
    assert plan(**end) == ends.EndPlan(**{**NEVER, **bound})


@pytest.mark.parametrize("kind", ["ramp", "cooldown"])
def test_what_moves_and_has_no_condition_ends_when_it_arrives(kind: Any) -> None:
    arrives = {**NEVER, "in_band": True, "by_setpoint": kind == "cooldown"}
    assert ends.bind(replace(HOLD, kind=kind, end=End())) == ends.EndPlan(**arrives)
    for end in (End(time_h=1.0), End(in_band=True), End(full=True), End(empty=True), End(by_operator=True),
                End(strength_MPa=1.0)):
        bound = ends.bind(replace(HOLD, kind=kind, end=end))
        assert not bound.by_setpoint
        assert bound.in_band is end.in_band


PRODUCT: dict[str, Any] = {
    "core_degC": 31.0, "core_degC_max": 32.0, "surface_degC": 30.2, "drying_kg_per_m2h": 0.0, "word": "neutral",
    "age_h_min": 12.0, "age_h_mean": 12.5, "age_h_max": 13.0, "strength_MPa_min": 5.0, "ready_fraction": 0.0,
    "ok": True,
}


def over(end: ends.EndPlan, *, at_s: float = 100.0, spent_s: float = 0.0, cycle_s: float = 0.0, in_band: bool = False,
         **product: Any) -> str:
    made = Product(**{**PRODUCT, **product})
    return ends.over(end, at_s, max(spent_s, at_s), cycle_s, made, in_band)


@pytest.mark.parametrize(
    ("end", "there", "not_yet", "words"),
    [
        ({"time_h": 1.0}, {"at_s": 3600.0}, {"at_s": 3599.0}, "phase time"),
        ({"cycle_h": 1.0}, {"cycle_s": 3600.0}, {"cycle_s": 3599.0}, "cycle time"),
        ({"equivalent_age_h": 12.0}, {}, {"age_h_min": 11.9}, "equivalent age"),
        ({"product_degC_above": 31.0}, {}, {"core_degC": 30.9}, "product warm enough"),
        ({"product_degC_below": 32.0}, {}, {"core_degC_max": 32.1}, "product cool enough"),
        ({"strength_MPa": 5.0}, {}, {"strength_MPa_min": 4.9}, "strength, estimated"),
        ({"in_band": True}, {"in_band": True}, {"in_band": False}, "in band"),
        ({"full": True}, {"full": True}, {"full": False}, "the last board is in"),
        ({"empty": True}, {"empty": True}, {"empty": False}, "the last board is out"),
    ],
)
def test_each_condition_ends_at_its_threshold_and_says_its_words(
    end: dict[str, Any], there: dict[str, Any], not_yet: dict[str, Any], words: str
) -> None:
    assert over(plan(**end), **there) == words
    assert over(plan(**end), **not_yet) == ""
    assert over(plan(**end, match="all"), **there) == "all its conditions"
    assert over(plan(**end, match="all"), **not_yet) == ""


@pytest.mark.parametrize("end", [
    {"equivalent_age_h": 12.0}, {"product_degC_above": 31.0}, {"product_degC_below": 32.0}, {"strength_MPa": 5.0},
])
def test_an_unknown_product_fulfils_nothing_but_the_last_board_is_known(end: dict[str, Any]) -> None:
    assert over(plan(**end), ok=False) == ""
    assert over(plan(**end, match="all"), ok=False) == ""
    assert over(plan(**end, full=True), ok=False, full=True) == "the last board is in"
    assert over(plan(**end, empty=True), ok=False, empty=True) == "the last board is out"


def test_what_nobody_asked_for_ends_nothing() -> None:
    """In band, full, warm, strong: of a phase that ends by its time none of it counts."""
    assert over(plan(time_h=1.0), in_band=True, full=True, empty=True, cycle_s=1e6) == ""
    assert over(plan(by_operator=True), at_s=1e6, in_band=True, full=True, empty=True, cycle_s=1e6) == ""
    assert over(plan(strength_MPa=6.0), full=True, empty=True, in_band=True) == ""


def test_all_means_all() -> None:
    both = plan(match="all", time_h=1.0, strength_MPa=5.0)
    assert over(both, at_s=3600.0, strength_MPa_min=4.9) == ""
    assert over(both, at_s=3599.0) == ""
    assert over(both, at_s=3600.0) == "all its conditions"


def test_the_first_of_several_in_their_order_is_named() -> None:
    assert over(plan(time_h=1.0, strength_MPa=5.0), at_s=3600.0) == "phase time"
    assert over(plan(time_h=1.0, strength_MPa=5.0)) == "strength, estimated"


def test_the_least_time_holds_everything_back_and_the_longest_time_nothing() -> None:
    bound = plan(strength_MPa=5.0, at_least_h=1.0, at_most_h=2.0)
    assert over(bound, at_s=3599.0) == ""
    assert over(bound, at_s=3600.0) == "strength, estimated"
    assert over(bound, at_s=3599.0, spent_s=7199.0) == ""
    assert over(bound, at_s=3599.0, spent_s=7200.0) == "longest time"
