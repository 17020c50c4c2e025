"""What each alarm of a working chamber is judged by, at its limits, and the means that limits are set on."""

from __future__ import annotations

from dataclasses import replace
from math import isnan
from typing import Any

import pytest

from controller.core.alarms.causes import NO_MEANS, AlarmsConfig, Means, any_beyond, excesses, with_means
from controller.core.loops.allocation import Demands
from controller.core.protection.protection import HEALTHY
from controller.core.rows.alarms import OWN

Panel = Any  # AlarmPanel of conftest
CONFIG = AlarmsConfig()
TAGS = tuple(row.tag for row in OWN if row.working_only)
HOUR = 3600.0


def judged(panel: Panel, means: Means = NO_MEANS) -> dict[str, float]:
    """Excess by tag; the quick first look has to find the same."""
    given = (CONFIG, means, panel.air, panel.targets, panel.product, panel.sequence)
    found = excesses(*given)
    assert any_beyond(*given) is any(excess >= 0.0 for excess in found)
    return dict(zip(TAGS, found, strict=True))


# tag, part, what is changed, excess
AT = [
    ("dew-margin-low", "air", {"dew_margin_K": 0.25}, -0.25),
    ("dew-margin-low", "air", {"dew_margin_K": 0.0}, 0.0),
    ("drying-at-once", "product", {"drying_kg_per_m2h": 0.75}, 0.25),
    ("drying-at-once", "product", {"drying_kg_per_m2h": 0.5}, 0.0),
    ("humidity-low", "air", {"rh_pct": 92.0}, 2.0),
    ("humidity-low", "air", {"rh_pct": 94.0}, 0.0),
    ("spread-high", "air", {"spread_K": 2.5}, 0.5),
    ("spread-high", "air", {"spread_K": 2.0}, 0.0),
    ("temperature-low", "air", {"temperature_degC": 26.0}, 1.0),
    ("temperature-low", "air", {"temperature_degC": 27.0}, 0.0),
    ("temperature-high", "air", {"temperature_degC": 36.0}, 0.5),
    ("temperature-high", "air", {"temperature_degC": 35.5}, 0.0),
    ("waiting", "sequence", {"waiting_long": True}, 1.0),
    ("waiting", "sequence", {}, -1.0),
    ("clock-stopped", "sequence", {"state": "held"}, 1.0),
    ("clock-stopped", "sequence", {"state": "paused"}, -1.0),
]


@pytest.mark.parametrize(("tag", "part", "changes", "excess"), AT)
def test_an_excess_is_how_far_its_value_is_beyond_the_limit(
    panel: Panel, tag: str, part: str, changes: dict[str, Any], excess: float
) -> None:
    setattr(panel, part, replace(getattr(panel, part), **changes))
    found = judged(panel)
    assert found.pop(tag) == pytest.approx(excess)
    assert not [other for other, value in found.items() if value >= 0.0]


def test_each_is_judged_by_its_own_row() -> None:
    """The order of the excesses is that of the rows."""
    assert TAGS == ("dew-margin-low", "drying-at-once", "drying-mean", "drying-warn", "humidity-low", "spread-high",
                    "temperature-low", "temperature-high", "waiting", "clock-stopped", "fighting")
    assert tuple(row.tag for row in OWN[: len(TAGS)]) == TAGS


@pytest.mark.parametrize(
    ("tag", "part", "changes", "asked"),
    [
        ("humidity-low", "air", {"rh_pct": 50.0}, ("sequence", {"hold_start_s": None})),
        ("humidity-low", "air", {"rh_pct": 50.0}, ("product", {"surface_degC": 29.4})),  # as warm as the dew point
        ("humidity-low", "air", {"rh_pct": -1.0}, ("targets", {"rh_accept_pct": 0.0})),
        ("spread-high", "air", {"spread_K": 9.0}, ("targets", {"fan_pct": 0.0})),
        ("temperature-low", "air", {"temperature_degC": 5.0}, ("targets", {"heat": False})),
    ],
)
def test_what_the_recipe_does_not_ask_for_is_far_from_an_alarm(
    panel: Panel, tag: str, part: str, changes: dict[str, Any], asked: tuple[str, dict[str, Any]]
) -> None:
    """So far that it also ends an alarm that stands, whatever its deadband."""
    setattr(panel, part, replace(getattr(panel, part), **changes))
    setattr(panel, asked[0], replace(getattr(panel, asked[0]), **asked[1]))
    assert judged(panel)[tag] == -100.0


def test_drying_of_an_unknown_product_is_unknown(panel: Panel) -> None:
    panel.product = replace(panel.product, ok=False, drying_kg_per_m2h=9.0)
    assert isnan(judged(panel)["drying-at-once"])


@pytest.mark.parametrize(
    ("kg_per_m2", "hours", "mean"), [(0.3, 1.0, 0.075), (0.3, 4.0, 0.075), (0.5, 5.0, 0.1), (1.0, 8.0, 0.125)]
)
def test_the_mean_of_drying_is_over_at_least_four_hours(
    panel: Panel, kg_per_m2: float, hours: float, mean: float
) -> None:
    found = judged(panel, replace(NO_MEANS, drying_kg_per_m2=kg_per_m2, drying_s=hours * HOUR))
    assert found["drying-mean"] == pytest.approx(mean - 0.10)
    assert found["drying-warn"] == pytest.approx(mean - 0.05)


@pytest.mark.parametrize("limit", ["drying_mean_warn", "drying_mean_max"])
@pytest.mark.parametrize(("kg_per_m2", "hours"), [(1.0, 8.0), (0.5, 4.0), (0.5, 1.0)])
def test_either_limit_of_the_mean_is_seen_at_the_first_look(
    panel: Panel, limit: str, kg_per_m2: float, hours: float
) -> None:
    """Exactly at the limit: an eighth over eight hours, or over the four that it is at least."""
    config = AlarmsConfig(drying_mean_warn=5.0, drying_mean_max=5.0)
    means = replace(NO_MEANS, drying_kg_per_m2=kg_per_m2, drying_s=hours * HOUR)
    given = (means, panel.air, panel.targets, panel.product, panel.sequence)
    assert not any_beyond(config, *given)
    assert any_beyond(replace(config, **{limit: 0.125}), *given)
    assert not any_beyond(replace(config, **{limit: 0.1251}), *given)


def test_fighting_is_judged_as_it_is(panel: Panel) -> None:
    assert judged(panel, replace(NO_MEANS, fighting=True))["fighting"] == 1.0
    assert judged(panel)["fighting"] == -1.0


def after(
    panel: Panel, before: Means, demands: Demands, span_s: float = 10.0, working: bool = True, empty: bool = False
) -> Means:
    return with_means(CONFIG, before, demands, panel.product, panel.sequence, working, span_s, empty)


HEATS = Demands(20.0, 0.3, 0.0, 75.0, 4.0, ())
BEFORE = Means(0.2, 7200.0, 10.0, 1.0, False)


def test_means_come_nearer_to_what_is_asked_by_the_share_of_the_span(panel: Panel) -> None:
    panel.product = replace(panel.product, drying_kg_per_m2h=0.36)
    found = after(panel, BEFORE, HEATS, 400.0)
    assert found.drying_kg_per_m2 == pytest.approx(0.2 + 0.04)
    assert found.drying_s == 7600.0
    assert found.heat_kW == pytest.approx(10.0 + 10.0 * 0.1)
    assert found.fight_kW == pytest.approx(1.0 + 3.0 * 0.1)
    assert found.fighting


def test_moistening_counts_as_no_drying_and_an_unknown_product_as_no_time(panel: Panel) -> None:
    for rate, kg_per_m2 in ((-0.36, 0.2), (0.0, 0.2), (0.36, 0.201)):
        panel.product = replace(panel.product, drying_kg_per_m2h=rate)
        found = after(panel, BEFORE, HEATS)
        assert (found.drying_kg_per_m2, found.drying_s) == (pytest.approx(kg_per_m2), 7210.0)
    panel.product = replace(panel.product, ok=False)
    found = after(panel, BEFORE, HEATS)
    assert (found.drying_kg_per_m2, found.drying_s) == (0.2, 7200.0)


def test_an_empty_chamber_dries_nothing_and_still_heats(panel: Panel) -> None:
    panel.product = replace(panel.product, drying_kg_per_m2h=0.36)
    found = after(panel, BEFORE, HEATS, 400.0, empty=True)
    assert (found.drying_kg_per_m2, found.drying_s) == (0.2, 7200.0)
    assert found.heat_kW == pytest.approx(11.0)


def test_a_phase_without_product_is_told_to_the_means(panel: Panel) -> None:
    panel.targets = replace(panel.targets, empty=True)
    panel.scan(10)
    assert panel.state.means.drying_s == 0.0
    assert panel.state.means.heat_kW > 0.0
    assert with_means(CONFIG, BEFORE, HEATS, panel.product, panel.sequence, True, 10.0).drying_s == 7210.0


def test_what_concerns_product_is_no_alarm_while_none_is_inside(panel: Panel) -> None:
    panel.targets = replace(panel.targets, empty=True)
    panel.air = replace(panel.air, dew_margin_K=-1.0, rh_pct=10.0)
    panel.product = replace(panel.product, drying_kg_per_m2h=9.0)
    found = judged(panel, replace(NO_MEANS, drying_kg_per_m2=9.0, drying_s=9.0 * HOUR))
    assert [found[tag] for tag in TAGS[:5]] == [-100.0] * 5
    panel.air = replace(panel.air, spread_K=9.0)
    assert judged(panel)["spread-high"] == 7.0


def test_only_the_begin_of_a_cycle_begins_the_drying_anew(panel: Panel) -> None:
    for trail, cycle_s, kept in ((("running",), 0.0, False), (("running",), 1.0, True), ((), 0.0, True)):
        panel.sequence = replace(panel.sequence, trail=trail, cycle_s=cycle_s)
        panel.product = replace(panel.product, drying_kg_per_m2h=0.0)
        found = after(panel, BEFORE, HEATS, 0.0)
        assert (found.drying_kg_per_m2, found.drying_s) == ((0.2, 7200.0) if kept else (0.0, 0.0))


def test_at_rest_heat_and_fight_are_forgotten_and_drying_is_kept(panel: Panel) -> None:
    assert after(panel, replace(BEFORE, fighting=True), HEATS, working=False) == Means(0.2, 7200.0, 0.0, 0.0, False)


@pytest.mark.parametrize(
    ("heat_kW", "fight_kW", "fights"),
    [(32.0, 1.5, True), (50.0, 1.5, False), (50.1, 1.5, False), (49.9, 1.5, True), (8.0, 1.0, False), (8.0, 1.1, True)],
)
def test_a_fight_is_more_than_its_share_and_more_than_a_little(
    panel: Panel, heat_kW: float, fight_kW: float, fights: bool
) -> None:
    before = Means(0.0, 0.0, heat_kW, fight_kW, False)
    same = Demands(heat_kW, 0.0, 0.0, 75.0, fight_kW, ())
    assert after(panel, before, same).fighting is fights


def test_a_working_chamber_brings_its_means_up_every_ten_seconds(panel: Panel) -> None:
    panel.product = replace(panel.product, drying_kg_per_m2h=0.36)
    panel.scan(9)
    assert panel.state.means == NO_MEANS
    panel.scan()
    assert panel.state.means.drying_s == 10.0
    panel.scan(4, dt_s=25.0)
    assert panel.state.means.drying_s == 110.0


@pytest.mark.parametrize(("trail", "anew"), [(("running",), True), (("held",), False), (("idle",), False)])
def test_between_two_times_only_the_begin_of_a_cycle_touches_the_means(
    panel: Panel, trail: tuple[str, ...], anew: bool
) -> None:
    panel.state = replace(panel.state, means=BEFORE)
    panel.sequence = replace(panel.sequence, trail=trail, cycle_s=0.0)
    panel.scan(1)
    assert panel.state.means.drying_kg_per_m2 == (0.0 if anew else 0.2)


def test_a_value_exactly_at_its_limit_is_an_alarm(panel: Panel) -> None:
    panel.air = replace(panel.air, dew_margin_K=0.0)
    panel.scan(121)
    assert panel.active == {"dew-margin-low"}


def test_at_rest_a_trip_brings_no_alarm_of_a_working_chamber_along(panel: Panel) -> None:
    panel.sequence = replace(panel.sequence, state="idle", phase=-1)
    panel.air = replace(panel.air, temperature_degC=5.0, spread_K=9.0, dew_margin_K=-3.0)
    panel.verdict = replace(HEALTHY, trips=("limiter",))
    panel.scan(400, dt_s=10.0)
    assert panel.active == {"limiter"}


def test_how_long_somebody_may_take_is_by_priority_unless_the_chamber_file_says_other() -> None:
    config = AlarmsConfig(respond_min={"dew-margin-low": 7.0})
    assert config.minutes_to_respond("dew-margin-low", "high") == 7.0
    assert config.minutes_to_respond("door-open", "high") == config.respond_high_min
    assert config.minutes_to_respond("door-open", "low") == config.respond_low_min
