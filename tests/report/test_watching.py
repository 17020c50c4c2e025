"""What a person reads who brings each cause about and signs: tags, limits, votes, and how it goes back."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.config import bundle
from controller.config.chamber import ChamberFile
from controller.config.find import find
from controller.core.protection import protection
from controller.core.rows.own import OwnRow
from controller.core.rows.protection import ROWS
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.report import effects, watching

POINTS = bundle.read_points(find("points", "panel-a")).value
SAYS = {"cause": "it leaks", "consequence": "it is wet", "action": "mend it"}


@pytest.fixture(scope="module")
def site() -> bundle.Site[Device]:
    return bundle.load_site("demo-north", device_class=Device, layout=require_layout)


@pytest.fixture(scope="module")
def chamber(site: bundle.Site[Device]) -> ChamberFile:
    return site.chamber


def said(chamber: ChamberFile) -> dict[str, tuple[str, str, str]]:
    """By row tag: what is watched, when it trips, how it goes back."""
    found = watching.causes(chamber, POINTS, ROWS)
    return {row.tag: line[1:] for row, line in zip(ROWS, found, strict=True)}


def test_every_row_says_tag_limit_and_reset(chamber: ChamberFile) -> None:
    rows, doors = said(chamber), "ZS-101A to ZS-101F (6)"
    chain = "at its device, reset trips, restart"
    assert rows["emergency-stop"] == ("HS-101", "open", "at its device, reset trips, reset, start")
    assert rows["limiter"] == ("TZS-103", "open", chain)
    assert rows["person-inside"] == ("HS-103", "open", chain)
    assert rows["airflow-lost"][:2] == ("FS-101, YS-101", "either open, from 10 s after the fan was switched on")
    assert rows["air-too-hot"] == (
        "TT-101A to TT-101H (8)", "any above 48 degC, of those within 5 K of their median", "reset trips, restart",
    )
    assert rows["supply-too-hot"][:2] == ("TT-108", "above 60 degC")
    assert rows["product-too-hot"][:2] == ("TT-104A, TT-104B", "any above 58 degC")
    assert rows["door-open"] == (
        doors, "any open, save where a recipe says on_door = standing", "by itself, restart a stopped clock",
    )
    assert rows["temperature-bad"] == ("TT-101A to TT-101H (8)", "none is good", "by itself, then restart")
    assert rows["humidity-bad"][0] == "MT-101A to MT-101H (8)"
    assert rows["link-lost"][:2] == ("panel-a", "no answer for more than 3 scans")
    assert rows["watchdog"][:2] == ("panel-a", "says that its watchdog acted, in a cycle")
    assert rows["fog-pressure"] == ("PS-102", "open, in a cycle", "reset trips")
    assert rows["door-long"] == (doors, "any open, where a recipe says on_door = standing", "by itself")
    assert rows["fog-stale"][0] == "fog-flush"


def test_limits_are_those_of_the_file(chamber: ChamberFile) -> None:
    guard = replace(chamber.protection, supply_degC_max=71.5, link_age_scans_max=7, doors=())
    rows = said(replace(chamber, protection=guard, duty=()))
    assert rows["supply-too-hot"][1] == "above 71.5 degC"
    assert rows["link-lost"][1] == "no answer for more than 7 scans"
    assert (rows["door-open"][0], rows["fog-stale"][0]) == ("nothing", "nothing")


def test_a_panel_is_lost_with_the_device_that_has_its_outputs() -> None:
    panel = bundle.load_site("demo-south", device_class=Device, layout=require_layout)
    found = {line[0]: line[1] for line in watching.causes(panel.chamber, panel.points, ROWS)}
    assert (len(panel.devices), found["panel does not answer"]) == (2, "io-b")


def test_a_supply_probe_without_reading_is_said_to_trip_where_it_does(chamber: ChamberFile) -> None:
    strict = replace(chamber, protection=replace(chamber.protection, supply_bad_counts=True))
    assert said(strict)["supply-too-hot"][1] == "above 60 degC or no reading"


@pytest.mark.parametrize(
    ("asked", "watches", "trips"),
    [
        ({"contacts": ("XS-140A",)}, "XS-140A", "open"),
        ({"readings": ("TT-110",), "below": 2.0, "working_only": True}, "TT-110", "below 2, in a cycle"),
        ({"readings": ("TT-110",), "above": 40.0, "bad_counts": True}, "TT-110", "above 40 or bad"),
        ({"contacts": ("XS-140A", "XS-140B"), "readings": ("TT-110",), "above": 40.0, "below": 2.0, "votes": 2},
         "XS-140A, XS-140B, TT-110", "2 of 3: XS-140A, XS-140B open, TT-110 above 40 or below 2"),
    ],
)  # fmt: skip
def test_a_row_of_the_chamber_says_who_votes(
    chamber: ChamberFile, asked: dict[str, Any], watches: str, trips: str
) -> None:
    row = OwnRow(tag="leak", text="a leak", effect="none", **SAYS, **asked)
    with_row = replace(chamber, protection=replace(chamber.protection, row=(row,)))
    (line,) = watching.causes(with_row, POINTS, [replace(ROWS[0], tag="leak", text="a leak", effect="none")])
    assert line == ("a leak", watches, trips, "reset trips")


def test_what_is_only_told_has_its_figures(chamber: ChamberFile) -> None:
    told = dict(watching.only_told(chamber))
    assert told["heat comes though shut"] == "JT-103 above 1.5 kW for 10 min, from 15 min after YC-103 went off"
    assert told["fog flows though shut"] == "FT-102 above 2 kg/h for 10 min, from 2 min after all banks shut"
    assert told["the fan moves too little air"] == "FT-101 below 85 % of what its speed gives for 10 min"
    assert told["a probe does not move"].startswith("22 channels, within 0.005 % of the span for 20 min")
    assert told["a humidity probe disagrees"].startswith("its dew point over 2.5 K from the median of all for 10 min")
    assert "HS-111, HS-112, HS-113 open" in told["a drive is not in automatic"]


def test_what_is_not_judged_is_not_listed(chamber: ChamberFile) -> None:
    alarms = replace(chamber.alarms, in_hand=(), losses=replace(chamber.alarms.losses, air_share_min=0.0))
    less = replace(
        chamber, alarms=alarms, frozen=replace(chamber.frozen, tags=()),
        siblings=replace(chamber.siblings, temperature_K=0.0, dew_point_K=0.0),
    )  # fmt: skip
    assert [what for what, _when in watching.only_told(less)] == [
        "a reading is bad", "a reading jumps", "heat comes though shut", "fog flows though shut", "mains supply bad",
    ]


def test_the_sheet_has_both_lists_and_still_ends_with_the_signature(site: bundle.Site[Device]) -> None:
    plan = protection.bind(site.chamber.protection, site.points)
    causes, told = watching.causes(site.chamber, site.points, plan.rows), watching.only_told(site.chamber)
    lines = effects.lines(plan.rows, chamber="trial", sha256="0", causes=causes, told=told)
    (head,) = [number for number, line in enumerate(lines) if "trips when" in line]
    assert [line.split("  ")[0] for line in lines[head + 1 : head + 1 + len(ROWS)]] == [row.text for row in ROWS]
    assert lines[head + 2 + len(ROWS)] == "only told, nothing is switched:"
    assert "signature" in lines[-1]
