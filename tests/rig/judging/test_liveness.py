"""After healing: in the band, on the way there, or in a safe state with a name; and nothing stays wrong by itself."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.core.orders.procedure import STATES
from controller.rig.judging.liveness import HEATS, IN_BAND, NAMED, ON_ITS_WAY, VENTS, WAITING, Liveness, Moment

GOOD = Moment(since_healed_s=900.0, state="running", air_degC=30.0, floor_degC=29.0, ceiling_degC=33.0)
LIVE = Liveness()


def missing(*moments: Moment, attended: bool = False) -> str:
    return replace(LIVE, attended=attended).missing(moments)


def test_every_state_but_running_has_a_name() -> None:
    assert set(NAMED) == set(STATES) - {"running"}


@pytest.mark.parametrize(
    ("air_degC", "condition"), [(28.0, IN_BAND), (34.0, IN_BAND), (27.99, ""), (34.01, ""), (float("nan"), "")]
)
def test_the_band_is_a_kelvin_wider_than_asked(air_degC: float, condition: str) -> None:
    assert LIVE.condition([replace(GOOD, air_degC=air_degC)]) == condition
    assert (missing(replace(GOOD, air_degC=air_degC)) == "") is (condition == IN_BAND)


@pytest.mark.parametrize(
    ("changes", "condition"),
    [
        ({"air_degC": 20.0, "waiting": True}, WAITING),
        ({"air_degC": 36.0, "vent_share": 0.8}, VENTS),
        ({"air_degC": 36.0, "vent_share": 0.79}, ""),
        ({"air_degC": 20.0, "vent_share": 1.0}, ""),
        ({"air_degC": 20.0, "heat_limited": True}, HEATS),
        ({"air_degC": 36.0, "heat_limited": True}, ""),
        ({"air_degC": 20.0, "state": "held"}, NAMED["held"]),
        ({"air_degC": 20.0, "state": "aborted"}, NAMED["aborted"]),
    ],
)
def test_outside_the_band_a_state_needs_a_name(changes: dict[str, Any], condition: str) -> None:
    assert LIVE.condition([replace(GOOD, **changes)]) == condition


@pytest.mark.parametrize(("before_s", "before_degC", "on_its_way"), [
    (300.0, 24.97, True), (300.0, 24.99, False), (300.0, 25.5, False), (299.0, 24.0, False), (840.0, 24.9, True),
])  # fmt: skip
def test_a_charge_far_from_its_band_must_come_nearer(before_s: float, before_degC: float, on_its_way: bool) -> None:
    before = replace(GOOD, since_healed_s=before_s, air_degC=before_degC)
    now = replace(GOOD, air_degC=25.0)
    assert LIVE.condition([before, now]) == (ON_ITS_WAY if on_its_way else "")
    assert (missing(before, now) == "") is on_its_way


@pytest.mark.parametrize(("before_degC", "on_its_way"), [(36.03, True), (36.0, False), (35.97, False)])
def test_the_way_is_to_where_the_band_is_now_though_a_phase_has_just_moved_it(
    before_degC: float, on_its_way: bool
) -> None:
    before = replace(GOOD, since_healed_s=300.0, air_degC=before_degC, ceiling_degC=40.0)  # the phase before: in band
    assert LIVE.condition([before, replace(GOOD, air_degC=36.0)]) == (ON_ITS_WAY if on_its_way else "")


def test_a_charge_that_was_nearer_and_is_nearer_again_later_has_not_come_nearer_meanwhile() -> None:
    there, off, again = (replace(GOOD, since_healed_s=at, air_degC=air) for at, air in (
        (300.0, 25.0), (600.0, 24.5), (1500.0, 24.4)
    ))  # fmt: skip
    assert LIVE.condition([there, off, again], 1) == ""
    assert LIVE.condition([there, off, again]) == ""


def test_before_its_time_nothing_is_asked_and_after_it_everything() -> None:
    bad = replace(GOOD, bad=1)
    assert missing(replace(bad, since_healed_s=899.0), GOOD) == ""
    assert "1 readings are still not good" in missing(GOOD, replace(bad, since_healed_s=960.0), GOOD)


def test_nobody_having_looked_is_not_good() -> None:
    assert "nobody looked" in missing(replace(GOOD, since_healed_s=899.0))
    assert "nobody looked" in missing()


def test_what_goes_back_by_itself_must_have_gone_back() -> None:
    assert "still tripped: door-open" in missing(replace(GOOD, trips=("door-open",)))


@pytest.mark.parametrize("state", ["held", "holding", "paused", "pausing"])
def test_people_get_a_healed_cycle_to_go_on(state: str) -> None:
    moment = replace(GOOD, state=state)
    assert missing(moment) == ""
    assert f"people cannot get the cycle to go on: {state}" in missing(moment, attended=True)


@pytest.mark.parametrize("state", ["idle", "stopped", "aborted", "complete", "restarting", "running"])
def test_what_is_over_or_goes_on_needs_nobody(state: str) -> None:
    assert missing(replace(GOOD, state=state), attended=True) == ""
