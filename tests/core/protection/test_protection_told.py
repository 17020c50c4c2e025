"""What a trip, its end and a reset say: everything a person needs, in the journal and in the answer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.core.frames import Event, Frame
from controller.core.points import Point
from controller.core.protection import protection
from controller.core.protection.protection import ProtectionConfig
from controller.core.rows.own import OwnRow
from controller.core.rows.protection import NUMBER, ROWS
from controller.errors import ConfigError

Guard = Any  # what the fixture `guard` gives
Opened = Callable[..., Frame]


def told(guard: Guard, kind: str) -> list[Event]:
    return [event for event in guard.events if event.kind == kind]


def test_a_trip_says_what_happened_what_follows_and_what_to_do(guard: Guard, opened: Opened) -> None:
    guard.frame = opened("TZS-103")
    guard.scan()
    guard.frame = opened("TZS-103", "HS-103")
    guard.scan()
    for event, tag, first in zip(told(guard, "trip"), ("limiter", "person-inside"), (True, False), strict=True):
        row = ROWS[NUMBER[tag]]
        assert event == Event("trip", tag, f"{row.text}: {row.cause}", (
            ("effect", row.effect), ("latched", row.latch), ("first_out", first), ("consequence", row.consequence),
            ("action", row.action),
        ))


def test_an_end_says_whether_it_was_reset_or_is_simply_over(guard: Guard, bring: Callable[[str], None]) -> None:
    for cause in ("TZS-103", "temperature_ok"):
        bring(cause)
        guard.scan(5)
        bring("")
        guard.scan(60, reset=(("r", "anna"),))
    ends = [(event.tag, event.text) for event in told(guard, "reset")]
    assert ends == [
        ("limiter", f"{ROWS[NUMBER['limiter']].text}: reset"),
        ("temperature-bad", f"{ROWS[NUMBER['temperature-bad']].text}: over"),
    ]


def test_a_refused_reset_names_all_that_is_still_there(guard: Guard, opened: Opened) -> None:
    guard.frame = opened("HS-101", "TZS-103")
    guard.scan()
    guard.scan(reset=(("r1", "anna"), ("r2", "bert")))
    answers = [dict(event.data) for event in told(guard, "command")]
    reason = f"still there: {ROWS[NUMBER['emergency-stop']].text}, {ROWS[NUMBER['limiter']].text}"
    assert answers == [
        {"id": id_, "verb": "reset-trips", "who": who, "outcome": "refused", "reason": reason}
        for id_, who in (("r1", "anna"), ("r2", "bert"))
    ]


def test_an_unlatched_row_that_is_still_there_refuses_no_reset(guard: Guard, bring: Callable[[str], None]) -> None:
    bring("temperature_ok")
    guard.scan(10)
    guard.scan(reset=(("r", "anna"),))
    assert dict(told(guard, "command")[0].data)["outcome"] == "done"
    assert guard.verdict.trips == ("temperature-bad",)


def test_a_trip_that_takes_nothing_away_says_that_no_output_was_changed(guard: Guard, written: Any) -> None:
    guard.asked = written()
    guard.scan(200)
    guard.frame = replace(guard.frame, age_scans=4)
    assert guard.scan().trips == ("link-lost",)


def test_what_a_wrong_section_says(points: tuple[Point, ...]) -> None:
    wrong = ProtectionConfig(
        airflow="FS-999", doors=("ZS-9",), supply="TT-999", product_temperatures=("TT-998",), fan_speed="SC-999",
        fan_run="YC-999", heat_valve="TCV-999", heat_stages=("YC-998",), heat_run="YC-997", fog_valves=("XV-999",),
        vent="ZC-999", frame_heat="YC-996", emergency_stop="HS-999", limiter="TZS-999", person_inside="HS-998",
        fog_pressure="PS-999", fan_runs="YS-999", fan_auto="HS-997", heat_auto="HS-996", fog_auto="HS-995",
        delay_s={"flood": 1.0}, latch={"rain": True},
    )
    with pytest.raises(ConfigError) as refused:
        protection.bind(wrong, points)
    found = {problem.field: (problem.value, problem.limit, problem.remedy) for problem in refused.value.problems}
    rows = (f"one of {', '.join(NUMBER)}", "correct the name of the row")
    assert found.pop("protection.delay_s.flood") == ("flood", *rows)
    assert found.pop("protection.latch.rain") == ("rain", *rows)
    kinds = {
        "DI": {"airflow": "FS-999", "fan_runs": "YS-999", "emergency_stop": "HS-999", "limiter": "TZS-999",
               "person_inside": "HS-998", "fog_pressure": "PS-999", "doors": "ZS-9", "fan_auto": "HS-997",
               "heat_auto": "HS-996", "fog_auto": "HS-995"},
        "AI": {"supply": "TT-999", "product_temperatures": "TT-998"},
        "AO": {"fan_speed": "SC-999", "heat_valve": "TCV-999", "vent": "ZC-999"},
        "DO": {"fan_run": "YC-999", "heat_stages": "YC-998", "heat_run": "YC-997", "fog_valves": "XV-999",
               "frame_heat": "YC-996"},
    }
    assert found == {
        f"protection.{name}": (tag, f"not an {kind} point of the point list", "add the point or correct the tag")
        for kind, tags in kinds.items() for name, tag in tags.items()
    }


SAYS = {"cause": "it leaks", "consequence": "it is wet", "action": "mend it"}


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"contacts": ("XX-1",)},
         "contacts = XX-1: not an DI point of the point list; add the point or correct the tag"),
        ({"readings": ("XX-2",), "above": 5.0},
         "readings = XX-2: not an AI point of the point list; add the point or correct the tag"),
        ({"readings": ("TT-110", "TT-111")}, "readings = TT-110, TT-111: need a limit; give above or below"),
        ({"readings": ("TT-110",), "above": 5.0, "below": 5.0},
         "below = 5: must be less than above 5; correct one"),
        ({"contacts": ("PS-102", "YS-110"), "votes": 3},
         "votes = 3: only 2 contacts and readings can vote; name more of them or ask for fewer votes"),
        ({"contacts": ("PS-102",), "tag": "limiter"},
         "tag = limiter: is the tag of another row; give every row its own tag"),
    ],
)
def test_a_row_of_the_chamber_that_does_not_fit_is_named_by_its_number(
    points: tuple[Point, ...], changes: dict[str, Any], says: str
) -> None:
    fits = OwnRow(tag="well", text="well", contacts=("PS-102",), **SAYS)
    wrong = OwnRow(**{"tag": "leak", "text": "a leak", **SAYS, **changes})
    with pytest.raises(ConfigError) as refused:
        protection.bind(ProtectionConfig(row=(fits, wrong)), points)
    assert str(refused.value).partition(": ")[2] == f"protection.row[1].{says}"


def test_two_rows_of_the_chamber_may_not_share_a_tag(points: tuple[Point, ...]) -> None:
    one = OwnRow(tag="leak", text="a leak", contacts=("PS-102",), **SAYS)
    with pytest.raises(ConfigError, match=r"row\[1\]\.tag = leak: is the tag of another row"):
        protection.bind(ProtectionConfig(row=(one, one)), points)


def test_what_a_row_of_the_chamber_says_is_what_protection_carries(points: tuple[Point, ...]) -> None:
    given = OwnRow(
        tag="leak", text="a leak", contacts=("PS-102",), delay_s=3.0, at_once=("fog", "heat"), blocks=("fan",),
        effect="abort", latch=False, release_s=7.0, priority="high", bypassable=True, **SAYS,
    )
    row = protection.bind(ProtectionConfig(row=(given,)), points).rows[-1]
    names = ("tag", "text", "delay_s", "effect", "latch", "release_s", "priority", "cause", "consequence", "action",
             "bypassable")
    assert [getattr(row, name) for name in names] == [getattr(given, name) for name in names]


@pytest.mark.parametrize(
    ("tag", "contacts"),
    [("emergency-stop", {"HS-101"}), ("limiter", {"TZS-103"}), ("person-inside", {"HS-103"}),
     ("airflow-lost", {"FS-101", "YS-101"}), ("door-open", {f"ZS-101{bay}" for bay in "ABCDEF"}),
     ("door-long", {f"ZS-101{bay}" for bay in "ABCDEF"}), ("fog-pressure", {"PS-102"}), ("link-lost", set()),
     ("leak", {"YS-110"})],
)
def test_which_contacts_a_row_watches_can_be_asked(points: tuple[Point, ...], tag: str, contacts: set[str]) -> None:
    own = OwnRow(tag="leak", text="a leak", contacts=("YS-110",), **SAYS)
    other = OwnRow(tag="other", text="another", contacts=("PS-102",), **SAYS)
    plan = protection.bind(ProtectionConfig(row=(own, other)), points)
    tags = [point.tag for point in points if point.kind == "DI"]
    number = [row.tag for row in plan.rows].index(tag)
    assert {tags[column] for column in plan.contacts_of_row(number)} == contacts
