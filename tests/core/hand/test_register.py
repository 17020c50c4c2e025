"""The register: who, why, until when; what may be overridden and what may not; it ends by itself and is told."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.orders.verbs import BYPASS, FORCE, SIMULATE
from controller.core.scan import COMPUTED, values

WHY = {"hours": 1.0, "reason": "pump is being changed"}
COUNT = [tag for tag, _text, _unit in COMPUTED].index("YI-193")


def test_an_entry_says_everything_and_ends_by_itself(chamber: Any) -> None:
    assert chamber.order("bypass", tag="fog-pressure", **WHY) == "done"
    (entry,) = chamber.state.by_hand.entries
    assert (entry.kind, entry.tag, entry.who, entry.role, entry.reason) == (
        BYPASS, "fog-pressure", "ana", "operator", "pump is being changed",
    )
    assert entry.until_s - entry.since_s == 3600.0
    chamber.scan(2)
    assert "by-hand" in chamber.alarms()
    assert values(chamber.result)[COUNT] == 1.0
    chamber.scan(3597)
    assert chamber.state.by_hand.entries
    chamber.scan(3)
    assert chamber.state.by_hand.entries == ()
    assert chamber.state.by_hand.idle
    chamber.scan(2)
    assert "by-hand" not in chamber.alarms()
    begins, ends = chamber.told()
    assert dict(begins.data)["what"] == "begins"
    assert (dict(ends.data)["what"], dict(ends.data)["why"]) == ("ends", "its time is over")
    assert chamber.state.by_hand.given == 1
    assert chamber.broken == set()


def test_the_same_again_is_one_entry_with_a_new_end(chamber: Any) -> None:
    assert chamber.order("bypass", tag="fog-pressure", **WHY) == "done"
    chamber.scan(100)
    assert chamber.order("bypass", "ben", tag="fog-pressure", hours=2.0, reason="still at it") == "done"
    (entry,) = chamber.state.by_hand.entries
    assert (entry.who, entry.until_s - entry.since_s) == ("ben", 7200.0)


@pytest.mark.parametrize(
    ("verb", "args", "said"),
    [
        ("bypass", {"tag": "fog-pressure", "hours": 1.0}, "a reason of at most 200"),
        ("bypass", {"tag": "fog-pressure", "hours": 1.0, "reason": "  "}, "a reason of at most 200"),
        ("bypass", {"tag": "fog-pressure", "hours": 1.0, "reason": "x" * 201}, "a reason of at most 200"),
        ("bypass", {"tag": "fog-pressure", "reason": "x"}, "hours (not given) must be above 0 and at most 12"),
        ("bypass", {"tag": "fog-pressure", "hours": 12.1, "reason": "x"}, "at most 12"),
        ("bypass", {"tag": "fog-pressure", "hours": 0.0, "reason": "x"}, "above 0"),
        ("bypass", {"tag": "fog-pressure", "hours": True, "reason": "x"}, "hours True"),
        ("bypass", {"tag": "fog-pressure", "hours": "1", "reason": "x"}, "hours 1 must"),
        ("bypass", {"tag": "none", **WHY}, "no row is called 'none', only these can: fog-pressure, battery"),
        ("force", {"tag": "none", "value": 1.0, **WHY}, "no point is called 'none'"),
        ("force", {"tag": "TCV-103", **WHY}, "value (not given) of TCV-103 must be a number from 0 to 100"),
        ("force", {"tag": "TCV-103", "value": 101.0, **WHY}, "must be 0 to 100"),
        ("force", {"tag": "TCV-103", "value": float("nan"), **WHY}, "must be a number"),
        ("force", {"tag": "YC-101", "value": 0.5, **WHY}, "must be 0 or 1"),
        ("force", {"tag": "TT-101A", "value": 61.0, **WHY}, "must be -10 to 60"),
        ("force", {"tag": "YL-190", "value": 0, **WHY}, "value 0 of YL-190 must be 1: alarms drive it"),
        ("force", {"tag": "YA-191", "value": False, **WHY}, "may only be put to what warns"),
        ("force", {"tag": "YC-192", "value": 1, **WHY}, "value 1 of YC-192 must be 0: alarms drive it"),
        ("simulate", {"tag": "YC-101", "value": 1.0, **WHY}, "only an input can be simulated"),
        ("simulate", {"tag": "TT-101A", "value": 78.0, **WHY}, "must be -27.5 to 77.5"),
        ("end-bypass", {"tag": "fog-pressure"}, "fog-pressure is not bypassed"),
        ("release", {"tag": "TCV-103"}, "TCV-103 is not forced or simulated"),
        ("release", {}, "nothing is not forced or simulated"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_reason(
    chamber: Any, verb: str, args: dict[str, Any], said: str
) -> None:
    assert said in chamber.order(verb, **args)
    assert chamber.state.by_hand.idle


@pytest.mark.parametrize(
    "row",
    [
        "emergency-stop", "limiter", "person-inside", "airflow-lost", "air-too-hot", "supply-too-hot",
        "product-too-hot", "door-open", "temperature-bad", "humidity-bad", "link-lost", "watchdog", "door-long",
    ],
)
def test_rows_that_protect_cannot_be_bypassed(chamber: Any, row: str) -> None:
    assert f"{row} cannot be bypassed, only these can: fog-pressure, battery" in chamber.order("bypass", tag=row, **WHY)


@pytest.mark.parametrize("verb", ["force", "simulate"])
@pytest.mark.parametrize("tag", ["HS-101", "TZS-103", "HS-103", "FS-101", "YS-101", "ZS-101A", "ZS-101F"])
def test_contacts_that_protect_may_only_be_put_open(chamber: Any, verb: str, tag: str) -> None:
    said = chamber.order(verb, tag=tag, value=1, **WHY)
    assert said == f"value 1 of {tag} must be 0: a row that cannot be bypassed watches it, it may only be put open"
    assert chamber.order(verb, tag=tag, value=0, **WHY) == "done"


def test_so_many_at_once_and_no_more(chamber: Any) -> None:
    for tag in ("TT-110", "TT-111", "MT-111", "TT-107", "TT-103"):
        assert chamber.order("simulate", tag=tag, value=20.0, **WHY) == "done"
    assert "5 points, rows and loops are overridden already" in chamber.order("bypass", tag="fog-pressure", **WHY)
    assert chamber.order("simulate", tag="TT-110", value=21.0, **WHY) == "done"  # one that is there already
    assert chamber.order("release", tag="all") == "done"
    assert chamber.state.by_hand.idle
    assert chamber.order("bypass", tag="fog-pressure", **WHY) == "done"


def test_a_point_is_overridden_in_one_way_only(chamber: Any) -> None:
    assert chamber.order("force", tag="TT-110", value=20.0, **WHY) == "done"
    assert "overridden in another way" in chamber.order("simulate", tag="TT-110", value=20.0, **WHY)
    assert [entry.kind for entry in chamber.state.by_hand.entries] == [FORCE]
    assert chamber.order("release", tag="TT-110") == "done"
    assert chamber.order("simulate", tag="TT-110", value=20.0, **WHY) == "done"
    assert [entry.kind for entry in chamber.state.by_hand.entries] == [SIMULATE]


def test_outputs_that_a_chamber_fixes_cannot_be_forced(bundle: Any) -> None:
    from dataclasses import replace

    from controller.config.plan import bind
    from controller.core.hand.register import ByHandConfig

    chamber = replace(bundle.chamber, by_hand=ByHandConfig(fixed=("TCV-103",)))
    plan = bind(chamber, bundle.points, bundle.recipe, bundle.mix, load_t=120.0)
    assert plan.by_hand.points.settle(FORCE, "TCV-103", 1.0) == (0.0, "TCV-103 may not be forced, its chamber says so")
    assert plan.by_hand.points.settle(FORCE, "ZC-120", 1.0) == (1.0, "")
