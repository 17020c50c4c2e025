"""What an override does and what it can never do: protection has the last word, judged on what was measured too."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.points import index_of

WHY = {"hours": 1.0, "reason": "trial"}


def column(chamber: Any, tag: str) -> int:
    return index_of(chamber.points, "AI")[tag]


def seen(chamber: Any, tag: str) -> tuple[float, int, str]:
    """As it is shown and recorded."""
    frame, at = chamber.result.frame, column(chamber, tag)
    return frame.values[at], frame.qualities[at], frame.reasons[at]


def test_a_forced_reading_steers_and_is_shown_as_uncertain(running: Any) -> None:
    before = running.result.climate.temperature_degC
    for tag in ("TT-101A", "TT-101B", "TT-101C", "TT-101D", "TT-101E"):
        assert running.order("force", tag=tag, value=26.0, **WHY) == "done"
    running.scan(2)
    assert running.result.climate.temperature_degC > before + 0.5
    assert seen(running, "TT-101A") == (26.0, 1, "forced by hand")
    assert seen(running, "TT-101F")[1:] == (0, "")
    assert running.broken == set()


def test_a_simulated_reading_is_judged_like_a_measured_one(chamber: Any) -> None:
    assert chamber.order("simulate", tag="TT-107", value=30.0, **WHY) == "done"
    chamber.scan()
    value, quality, reason = seen(chamber, "TT-107")
    assert (value, quality, reason) == (pytest.approx(30.0, abs=0.005), 1, "simulated by hand")
    assert chamber.order("simulate", tag="TT-107", value=70.0, **WHY) == "done"
    chamber.scan(7)
    value, quality, reason = seen(chamber, "TT-107")
    assert value != value
    assert (quality, reason.startswith("simulated by hand: ")) == (2, True)
    assert "probe-bad" in chamber.alarms()


def test_a_forced_output_does_what_it_says_and_comes_back_gently(running: Any) -> None:
    assert running.order("force", tag="ZC-120", value=60.0, **WHY) == "done"
    running.scan(2)
    assert running.out("ZC-120") == 60.0
    assert running.order("release", tag="ZC-120") == "done"
    running.scan()
    after = running.out("ZC-120")
    assert 60.0 - 2.0 * 100.0 / 60.0 - 1e-6 <= after < 60.0
    running.scan(60)
    assert running.out("ZC-120") == 0.0
    assert running.broken == set()


def test_heat_cannot_be_forced_without_air(chamber: Any) -> None:
    assert chamber.order("force", tag="TCV-103", value=80.0, **WHY) == "done"
    assert chamber.order("force", tag="YC-103", value=1, **WHY) == "done"
    chamber.scan(5)
    assert (chamber.out("TCV-103"), chamber.out("YC-103"), chamber.out("YC-101")) == (0.0, False, False)
    assert "heat" in chamber.result.verdict.blocked
    assert chamber.order("force", tag="YC-101", value=1, **WHY) == "done"
    assert chamber.order("force", tag="SC-101", value=60.0, **WHY) == "done"
    chamber.scan(60)
    assert (chamber.out("TCV-103"), chamber.out("YC-103"), chamber.out("YC-101")) == (80.0, True, True)
    chamber.open |= {"FS-101"}
    chamber.scan()
    assert (chamber.out("TCV-103"), chamber.out("YC-103")) == (0.0, False)
    assert chamber.broken == set()


@pytest.mark.parametrize(
    ("contact", "tag", "value"),
    [
        ("HS-101", "YC-101", 1), ("HS-103", "SC-101", 80.0), ("TZS-103", "YC-103", 1), ("ZS-101C", "XV-102B", 1),
        ("HS-103", "XV-102A", 1), ("HS-101", "YC-106", 1),
    ],
)  # fmt: skip
def test_a_trip_takes_away_what_is_forced(running: Any, contact: str, tag: str, value: float) -> None:
    assert running.order("force", tag=tag, value=value, **WHY) == "done"
    running.scan(2)
    assert running.out(tag) == value
    running.open |= {contact}
    running.scan()
    assert running.out(tag) == 0
    assert running.broken == set()


@pytest.mark.parametrize("verb", ["force", "simulate"])
def test_a_value_put_there_by_hand_hides_no_hot_air(running: Any, verb: str) -> None:
    for number, tag in enumerate(f"TT-101{letter}" for letter in "ABCDEFGH"):
        running.values[tag] = 49.0
        if number < 5:
            assert running.order(verb, tag=tag, value=24.0, **WHY) == "done"
    running.scan(30)
    assert running.result.climate.hottest_degC < 30.0
    assert "air-too-hot" in running.result.verdict.trips
    assert running.broken == set()


def test_probes_that_are_all_bad_stay_bad_for_protection(running: Any) -> None:
    for number, tag in enumerate(f"TT-101{letter}" for letter in "ABCDEFGH"):
        running.values[tag] = -200.0  # below any current loop
        if number < 5:
            assert running.order("force", tag=tag, value=24.0, **WHY) == "done"
    running.scan(60)
    assert running.result.climate.temperature_ok
    assert "temperature-bad" in running.result.verdict.trips
    assert "heat" in running.result.verdict.blocked


def test_a_value_put_there_by_hand_can_trip(running: Any) -> None:
    """That is how a row is tried."""
    assert running.order("simulate", tag="HS-101", value=0, **WHY) == "done"
    running.scan(2)
    assert "emergency-stop" in running.result.verdict.trips
    assert running.state.sequence.state in ("aborting", "aborted")


def test_a_bypassed_row_does_not_trip_and_what_it_watches_counts_as_well(running: Any) -> None:
    running.open |= {"PS-102"}
    running.scan(10)
    assert "fog-pressure" in running.result.verdict.trips
    assert running.order("bypass", tag="fog-pressure", **WHY) == "done"
    assert running.order("reset-trips") == "done"
    running.scan(70)
    assert running.result.verdict.trips == ()
    assert running.state.achieved.fog_kg_per_h_max == 60.0
    assert running.order("end-bypass", tag="fog-pressure") == "done"
    running.scan(10)
    assert "fog-pressure" in running.result.verdict.trips
    assert running.broken == set()


def test_rows_of_the_chamber_itself_can_be_bypassed_where_it_says_so(running: Any) -> None:
    assert running.order("bypass", tag="battery", **WHY) == "done"
    running.open |= {"YS-110"}
    running.scan(5)
    assert running.result.verdict.trips == ()
    assert running.order("end-bypass", tag="all") == "done"
    running.scan(5)
    assert running.result.verdict.trips == ("battery",)


def test_lamps_can_be_tried_and_the_healthy_relay_dropped(chamber: Any) -> None:
    assert (chamber.out("YL-190"), chamber.out("YA-191"), chamber.out("YC-192")) == (False, False, True)
    for tag, value in (("YL-190", 1), ("YA-191", 1), ("YC-192", 0)):
        assert chamber.order("force", tag=tag, value=value, **WHY) == "done"
    chamber.scan(2)
    assert (chamber.out("YL-190"), chamber.out("YA-191"), chamber.out("YC-192")) == (True, True, False)
    assert chamber.order("release", tag="all") == "done"
    chamber.scan(8)
    assert (chamber.out("YA-191"), chamber.out("YC-192")) == (False, True)
    assert chamber.broken == set()


@pytest.mark.parametrize("verb", ["stop", "abort"])
def test_stop_and_abort_end_what_moves_outputs(running: Any, verb: str) -> None:
    assert running.order("force", tag="XV-102A", value=1, **WHY) == "done"
    assert running.order("force", tag="TT-110", value=20.0, **WHY) == "done"
    assert running.order("bypass", tag="fog-pressure", **WHY) == "done"
    assert running.order(verb) == "done"
    running.scan(2)
    assert [(entry.kind, entry.tag) for entry in running.state.by_hand.entries] == [
        ("force", "TT-110"), ("bypass", "fog-pressure"),
    ]  # fmt: skip
    assert running.out("XV-102A") is False


def test_the_alarm_of_an_override_cannot_be_hidden(chamber: Any) -> None:
    assert chamber.order("force", tag="TT-110", value=20.0, **WHY) == "done"
    assert "always shown" in chamber.order("shelve", tag="by-hand", **WHY)
