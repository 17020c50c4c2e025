"""Alarms: each comes for its own reason after its delay, goes with its deadband, and drives beacon, horn and relay."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, replace
from typing import Any

import pytest

from controller.core.alarms import alarms
from controller.core.frames import Command, Frame, Outputs
from controller.core.loops.allocation import Demands
from controller.core.points import of_kind
from controller.core.protection.protection import HEALTHY
from controller.core.rows.alarms import ALARMS, OWN, PRIORITIES
from controller.errors import ConfigError

TagOf = Callable[[Outputs, str], float | bool]
Panel = Any  # AlarmPanel of conftest


def lamps(panel: Panel, tag_of: TagOf) -> tuple[bool, bool, bool]:
    """Beacon, horn, healthy relay."""
    return tuple(bool(tag_of(panel.outputs, tag)) for tag in ("YL-190", "YA-191", "YC-192"))  # type: ignore[return-value]


def test_every_alarm_says_cause_consequence_and_action() -> None:
    for row in ALARMS:
        assert row.cause
        assert row.consequence
        assert row.action
        assert row.priority in PRIORITIES
    assert len({row.tag for row in ALARMS}) == len(ALARMS)


def test_a_chamber_that_is_well_says_nothing_and_the_relay_holds(panel: Panel, tag_of: TagOf) -> None:
    panel.scan(4000)
    assert not panel.events
    assert lamps(panel, tag_of) == (False, False, True)


# tag, what is changed on which object, scans before it comes
CAUSES: list[tuple[str, str, dict[str, Any], int]] = [
    ("dew-margin-low", "air", {"dew_margin_K": -0.01}, 120),
    ("drying-at-once", "product", {"drying_kg_per_m2h": 0.51}, 60),
    ("humidity-low", "air", {"rh_pct": 93.9}, 120),
    ("spread-high", "air", {"spread_K": 2.1}, 600),
    ("temperature-low", "air", {"temperature_degC": 26.9}, 1800),
    ("temperature-high", "air", {"temperature_degC": 35.6}, 900),
    ("waiting", "sequence", {"waiting_long": True}, 0),
    ("clock-stopped", "sequence", {"state": "held"}, 60),
    ("link-bad", "frame", {"age_scans": 1}, 2),
]


@pytest.mark.parametrize(("tag", "part", "changes", "scans"), CAUSES)
def test_each_alarm_comes_after_its_delay_and_goes_with_its_cause(
    panel: Panel, tag: str, part: str, changes: dict[str, Any], scans: int
) -> None:
    well = getattr(panel, part)
    setattr(panel, part, replace(well, **changes))
    panel.scan(scans)
    assert tag not in panel.active
    panel.scan()
    assert tag in panel.active
    comes = next(event for event in panel.events if event.tag == tag)
    assert dict(comes.data)["from_s"] == 1.0
    setattr(panel, part, well)
    panel.scan(400)
    assert not panel.active


def test_a_battery_that_carries_the_controller_is_told(panel: Panel, opened: Callable[..., Frame]) -> None:
    panel.plan = alarms.bind(alarms.AlarmsConfig(battery="YS-103"), panel.points)
    panel.scan(10)
    assert panel.active == set()
    panel.frame = opened("YS-103")
    panel.scan(5)
    assert panel.active == set()
    panel.scan(2)
    assert panel.active == {"on-battery"}


@pytest.mark.parametrize(("tag", "contact"), [("in-hand", "HS-111"), ("in-hand", "HS-112"), ("mains-bad", "YS-110")])
def test_contacts_raise_their_alarm(panel: Panel, opened: Callable[..., Frame], tag: str, contact: str) -> None:
    panel.frame = opened(contact)
    panel.scan(10)
    assert panel.active == {tag}


def test_one_bad_probe_is_told(panel: Panel, reading: Callable[..., Frame]) -> None:
    panel.frame = reading("TT-101C", float("nan"), 2)
    panel.scan(10)
    assert panel.active == {"probe-bad"}


def test_fighting_is_a_share_of_the_heat_of_the_last_hour(panel: Panel) -> None:
    panel.demands = Demands(20.0, 0.3, 0.0, 75.0, 0.5, ())
    panel.scan(2 * 360, dt_s=10.0)
    assert not panel.active
    panel.demands = Demands(20.0, 0.3, 0.0, 75.0, 4.0, ())
    panel.scan(120, dt_s=10.0)
    assert panel.active == {"fighting"}
    assert panel.state.means.fighting


def test_fighting_is_over_when_both_have_stopped(panel: Panel) -> None:
    panel.demands = Demands(20.0, 0.3, 0.0, 75.0, 4.0, ())
    panel.scan(360, dt_s=10.0)
    panel.demands = Demands(0.0, 0.0, 0.0, 75.0, 0.0, ())
    panel.scan(2 * 360, dt_s=10.0)
    assert not panel.active


def test_a_little_heat_against_a_little_vent_is_no_fight(panel: Panel) -> None:
    panel.demands = Demands(2.0, 0.05, 0.0, 75.0, 0.8, ())
    panel.scan(4 * 360, dt_s=10.0)
    assert not panel.active


@pytest.mark.parametrize(
    ("rate", "tags"), [(0.049, set()), (0.052, {"drying-warn"}), (0.103, {"drying-warn", "drying-mean"})]
)
def test_mean_drying_counts_the_positive_part_since_the_cycle_began(panel: Panel, rate: float, tags: set[str]) -> None:
    """Goal: 0.05 warns, 0.10 alarms as a mean. Method: a steady rate for six hours in scans of ten seconds."""
    panel.product = replace(panel.product, drying_kg_per_m2h=rate)
    panel.scan(6 * 360, dt_s=10.0)
    assert panel.active == tags
    assert panel.state.means.drying_kg_per_m2 == pytest.approx(6.0 * rate, rel=0.01)
    panel.product = replace(panel.product, drying_kg_per_m2h=-5.0)
    panel.scan(10, dt_s=10.0)
    assert panel.state.means.drying_kg_per_m2 == pytest.approx(6.0 * rate, rel=0.01)


def test_a_new_cycle_begins_its_drying_anew(panel: Panel) -> None:
    panel.scan(100)
    assert panel.state.means.drying_kg_per_m2 > 0.0
    panel.sequence = replace(panel.sequence, cycle_s=0.0, trail=("running",))
    panel.scan()
    assert panel.state.means.drying_kg_per_m2 == pytest.approx(0.0, abs=1e-4)


def test_low_humidity_is_no_alarm_while_the_product_is_colder_than_the_dew_point(panel: Panel) -> None:
    panel.air = replace(panel.air, rh_pct=70.0)
    panel.product = replace(panel.product, surface_degC=29.0)
    panel.scan(600)
    assert not panel.active


def test_low_humidity_is_no_alarm_before_the_hold(panel: Panel) -> None:
    panel.air = replace(panel.air, rh_pct=70.0)
    panel.sequence = replace(panel.sequence, hold_start_s=None)
    panel.scan(600)
    assert not panel.active


def test_the_deadband_keeps_an_alarm_that_only_just_recovered(panel: Panel) -> None:
    panel.air = replace(panel.air, spread_K=2.1)
    panel.scan(601)
    panel.air = replace(panel.air, spread_K=1.8)
    panel.scan(1000)
    assert panel.active == {"spread-high"}
    panel.air = replace(panel.air, spread_K=1.6)
    panel.scan(301)
    assert not panel.active


def test_an_unknown_value_neither_raises_nor_clears(panel: Panel) -> None:
    panel.air = replace(panel.air, spread_K=float("nan"))
    panel.scan(1000)
    assert not panel.active
    panel.air = replace(panel.air, spread_K=3.0)
    panel.scan(601)
    panel.air = replace(panel.air, spread_K=float("nan"))
    panel.scan(1000)
    assert panel.active == {"spread-high"}


def test_a_chamber_at_rest_is_not_judged_by_a_recipe(panel: Panel) -> None:
    panel.sequence = replace(panel.sequence, state="idle", phase=-1)
    panel.air = replace(panel.air, temperature_degC=5.0, spread_K=9.0, rh_pct=20.0, dew_margin_K=-3.0)
    panel.scan(4000)
    assert not panel.active


def test_every_trip_is_an_alarm_in_its_scan_and_drops_the_relay(panel: Panel, tag_of: TagOf) -> None:
    for row in ALARMS[len(OWN):]:
        panel.verdict = replace(HEALTHY, trips=(row.tag,))
        panel.scan()
        assert panel.active == {row.tag}
        assert lamps(panel, tag_of) == (True, True, row.priority != "high")
        panel.verdict = HEALTHY
        panel.scan()
        assert lamps(panel, tag_of) == (True, False, True)  # gone, but nobody has taken notice
        panel.sequence = replace(panel.sequence, acknowledge=True)
        panel.scan()
        assert lamps(panel, tag_of) == (False, False, True)
        panel.sequence = replace(panel.sequence, acknowledge=False)


def test_acknowledging_silences_the_horn_and_leaves_the_beacon(panel: Panel, tag_of: TagOf) -> None:
    panel.verdict = replace(HEALTHY, trips=("limiter",))
    panel.scan(5)
    panel.sequence = replace(panel.sequence, acknowledge=True)
    panel.scan()
    panel.sequence = replace(panel.sequence, acknowledge=False)
    panel.scan(5)
    assert lamps(panel, tag_of) == (True, False, False)
    panel.verdict = replace(HEALTHY, trips=("limiter", "emergency-stop"))
    panel.scan()
    assert lamps(panel, tag_of) == (True, True, False)


def test_a_low_alarm_lights_the_beacon_without_the_horn(
    panel: Panel, opened: Callable[..., Frame], tag_of: TagOf
) -> None:
    panel.frame = opened("HS-111")
    panel.scan(10)
    assert lamps(panel, tag_of) == (True, False, True)


def test_the_list_has_the_urgent_first_then_the_older(panel: Panel, opened: Callable[..., Frame]) -> None:
    panel.frame = opened("HS-111")
    panel.scan(10)
    panel.verdict = replace(HEALTHY, trips=("door-open",))
    panel.scan()
    panel.verdict = replace(HEALTHY, trips=("door-open", "limiter"))
    panel.scan()
    found = alarms.active_list(panel.plan, panel.state)
    assert [alarm.row.tag for alarm in found] == ["limiter", "door-open", "in-hand"]


def test_the_state_is_the_same_object_between_means_and_plain_json(panel: Panel) -> None:
    panel.scan(10)
    before = panel.state
    panel.scan(5)
    assert panel.state is before
    panel.verdict = replace(HEALTHY, trips=("limiter",))
    panel.scan()
    json.dumps(asdict(panel.state), allow_nan=False)


def order(verb: str, **args: Any) -> Command:
    return Command(f"{verb}-1", verb, "anna", tuple(sorted(args.items())))


def give(panel: Panel, *orders: Command) -> None:
    panel.sequence = replace(panel.sequence, for_alarms=orders)
    panel.scan()
    panel.sequence = replace(panel.sequence, for_alarms=())


def test_a_shelved_alarm_neither_lights_nor_sounds_and_is_told_anew_when_it_comes_back(
    panel: Panel, tag_of: TagOf
) -> None:
    give(panel, order("shelve", tag="mains-bad", hours=0.1, reason="electrician is here"))
    assert [dict(event.data)["outcome"] for event in panel.events if event.kind == "command"] == ["done"]
    panel.verdict = replace(HEALTHY, trips=())
    panel.frame = replace(panel.frame, discrete=tuple(
        on and point.tag != "YS-110"
        for on, point in zip(panel.frame.discrete, of_kind(panel.points, "DI"), strict=True)
    ))
    panel.scan(10)
    assert lamps(panel, tag_of) == (False, False, True)
    assert [(one.row.tag, one.state, one.hidden) for one in alarms.active_list(panel.plan, panel.state)] == [
        ("mains-bad", "U", "electrician is here")
    ]
    assert dict(panel.events[-1].data)["shown"] is False
    panel.scan(360)
    assert lamps(panel, tag_of) == (True, True, True)
    assert dict(panel.events[-1].data)["what"] == "unshelved"


def test_what_protection_raises_cannot_be_hidden(panel: Panel, tag_of: TagOf) -> None:
    give(panel, order("out-of-service", tag="limiter", reason="tired of it"))
    assert "always shown" in panel.events[-1].text
    panel.verdict = replace(HEALTHY, trips=("limiter",))
    panel.scan()
    assert lamps(panel, tag_of) == (True, True, False)


def test_eleven_alarms_at_once_are_told_as_a_flood(panel: Panel) -> None:
    panel.verdict = replace(HEALTHY, trips=tuple(row.tag for row in ALARMS[len(OWN):]))
    panel.scan()
    assert [event.tag for event in panel.events if dict(event.data).get("what") == "flood begins"] == ["flood"]


def test_one_of_low_priority_that_has_gone_needs_nobody(panel: Panel, opened: Callable[..., Frame]) -> None:
    well = panel.frame
    panel.frame = opened("HS-111")
    panel.scan(10)
    panel.frame = well
    panel.scan(10)
    assert alarms.active_list(panel.plan, panel.state) == ()


def test_a_time_to_respond_to_an_alarm_that_is_not_there_is_refused(points: tuple[Any, ...]) -> None:
    with pytest.raises(ConfigError, match=r"respond_min\.dew-margin-lo"):
        alarms.bind(alarms.AlarmsConfig(respond_min={"dew-margin-lo": 7.0}), points)


def test_a_row_without_an_excess_is_found_and_mixes_up_nothing(panel: Panel, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(alarms, "_OWN_COUNT", len(OWN) + 1)
    panel.plan = replace(panel.plan, rows=(OWN[0], *panel.plan.rows))
    panel.frame = replace(panel.frame, age_scans=1)
    with pytest.raises(AssertionError, match="a row without an excess"):
        panel.scan(1)
