"""Who is told when: steps, repeats, hours, absences, acknowledgement, and that nobody is told too often or never."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.callout.escalation import Call, Incident, Key, Need, decide, next_of
from controller.callout.plan import Away, Plan, Rule, Step

MINUTE_MS = 60_000
FOG, STOP, PROBE = Key("north", "humidity-low"), Key("north", "emergency-stop"), Key("north", "probe-bad")


@dataclass
class Night:
    """Looks once a minute. told: (minute, person, tag, kind) of every call."""

    plan: Plan
    start_ms: int
    minute: int = 0
    book: tuple[Incident, ...] = ()
    told: list[tuple[int, str, str, str]] = field(default_factory=list)

    def pass_by(
        self, minutes: int, *needs: Need, acknowledged: tuple[Key, ...] = (), undelivered: tuple[Key, ...] = ()
    ) -> None:
        for _ in range(minutes):
            now_ms = self.start_ms + self.minute * MINUTE_MS
            self.book, calls = decide(self.plan, self.book, needs, acknowledged, undelivered, now_ms)
            self.told += [(self.minute, call.person, call.key.tag, call.kind) for call in calls]
            self.minute += 1

    def steps(self) -> list[tuple[int, str]]:
        return [(minute, person) for minute, person, _tag, kind in self.told if kind == "step"]


@pytest.fixture
def night(plan: Plan, utc_of: Callable[[str], int]) -> Night:
    """From 01:00 in Berlin, Ben on call."""
    return Night(plan, utc_of("2026-03-03T00:00"))


HIGH, LOW = Need(STOP, "high"), Need(PROBE, "low")


def test_steps_follow_while_nobody_acknowledges_and_the_last_is_repeated_so_many_times(night: Night) -> None:
    night.pass_by(200, HIGH)
    everybody = ("anna", "ben", "cleo")
    assert night.steps() == [
        (0, "ben"), (10, "ben"), (10, "cleo"),
        *[(minute, person) for minute in (25, 45, 65) for person in everybody],
    ]


def test_an_acknowledgement_ends_it_and_those_who_were_told_hear_of_it_once(night: Night) -> None:
    night.pass_by(12, HIGH)
    night.pass_by(100, acknowledged=(STOP,))
    assert night.steps() == [(0, "ben"), (10, "ben"), (10, "cleo")]
    assert [one for one in night.told if one[3] != "step"] == [
        (12, "ben", "emergency-stop", "acknowledged"), (12, "cleo", "emergency-stop", "acknowledged")
    ]
    assert night.book == ()


def test_what_goes_by_itself_is_told_as_over(night: Night) -> None:
    night.pass_by(3, HIGH)
    night.pass_by(60)
    assert night.told[1:] == [(3, "ben", "emergency-stop", "over")]


def test_that_it_is_over_or_taken_may_be_kept_quiet(night: Night, plan: Plan) -> None:
    night.plan = replace(plan, tell_over=False, tell_acknowledged=False)
    night.pass_by(3, HIGH)
    night.pass_by(20)
    night.pass_by(3, HIGH)
    night.pass_by(20, acknowledged=(STOP,))
    assert {kind for *_rest, kind in night.told} == {"step"}


def test_a_chattering_alarm_is_told_by_its_steps_and_not_every_time_it_comes(night: Night) -> None:
    """On for a minute, off for a minute, for two hours: its escalation goes on as if it had stood, and begins anew when
    nothing was told for a quarter of an hour."""
    for _ in range(60):
        night.pass_by(1, HIGH)
        night.pass_by(1)
    first = [minute for minute, person in night.steps() if person == "ben"]
    assert first == [0, 10, 26, 36, 52, 62, 78, 88, 104, 114]


def test_what_was_acknowledged_and_comes_back_begins_anew(night: Night) -> None:
    night.pass_by(2, HIGH)
    night.pass_by(1, acknowledged=(STOP,))
    night.pass_by(1, HIGH)
    assert night.steps() == [(0, "ben"), (3, "ben")]


def test_low_priority_waits_for_its_hours_and_is_forgotten_when_it_is_over_by_then(
    night: Night, utc_of: Callable[[str], int]
) -> None:
    night.pass_by(60, LOW)
    night.pass_by(60)
    assert night.told == []
    night.pass_by(240, LOW)  # from 03:00; its hours begin at 06:00, when Anna comes
    assert night.told == [(300, "anna", "probe-bad", "step")]


def test_the_shift_that_is_on_when_a_step_is_due_is_told(night: Night) -> None:
    """From 05:55: Ben first, and ten minutes later Anna, who came at six."""
    night.start_ms += 295 * MINUTE_MS
    night.pass_by(12, HIGH)
    assert night.steps() == [(0, "ben"), (10, "anna"), (10, "cleo")]


def test_a_step_that_has_nobody_passes_at_once_to_the_next(night: Night, plan: Plan) -> None:
    night.plan = replace(plan, away=(Away(person="ben", first_day="2026-03-03", last_day="2026-03-03"),))
    night.pass_by(1, HIGH)
    assert night.steps() == [(0, "cleo")]


def test_when_no_step_has_anybody_everybody_is_told_even_those_who_are_away(night: Night, plan: Plan) -> None:
    away = tuple(Away(person=key, first_day="2026-03-01", last_day="2026-03-09") for key in ("anna", "ben", "cleo"))
    night.plan = replace(plan, away=away)
    night.pass_by(1, HIGH)
    assert [person for _minute, person in night.steps()] == ["anna", "ben", "cleo"]


def test_a_step_that_could_not_be_delivered_is_not_waited_for(night: Night) -> None:
    night.pass_by(2, HIGH)
    night.pass_by(1, HIGH, undelivered=(STOP,))
    night.pass_by(2, HIGH)
    assert night.steps() == [(0, "ben"), (2, "ben"), (2, "cleo")]


def test_after_a_sleep_of_hours_steps_do_not_all_come_at_once(night: Night) -> None:
    """The call-out was not running: it goes on with the one step that is due."""
    night.pass_by(1, HIGH)
    night.minute = 200
    night.pass_by(1, HIGH)
    assert [one for one in night.steps() if one[0] >= 200] == [(200, "ben"), (200, "cleo")]


def test_several_alarms_have_their_own_steps(night: Night) -> None:
    night.pass_by(5, HIGH)
    night.pass_by(20, HIGH, Need(FOG, "medium"))
    assert [(minute, tag) for minute, person, tag, _kind in night.told if person == "ben"] == [
        (0, "emergency-stop"), (5, "humidity-low"), (10, "emergency-stop"), (15, "humidity-low")
    ]


def test_a_priority_without_a_rule_is_told_to_nobody(night: Night, plan: Plan) -> None:
    night.plan = replace(plan, rules=plan.rules[:1])
    night.pass_by(600, LOW)
    assert night.told == []


def test_what_comes_next_is_known(night: Night) -> None:
    night.pass_by(1, HIGH)
    following = next_of(night.plan, night.book[0])
    assert following is not None
    assert (following.at_ms, following.people) == (night.start_ms + 10 * MINUTE_MS, ("ben", "cleo"))
    night.pass_by(70, HIGH)
    assert next_of(night.plan, night.book[0]) is None


@settings(max_examples=60)
@given(
    afters=st.lists(st.integers(0, 60), min_size=1, max_size=4, unique=True).map(sorted),
    repeat=st.integers(0, 40), most=st.integers(0, 4),
    stands=st.lists(st.booleans(), min_size=30, max_size=200), taken_at=st.integers(0, 250),
)
def test_whatever_comes_and_goes_the_first_is_told_at_once_and_the_number_is_bounded(
    afters: list[int], repeat: int, most: int, stands: list[bool], taken_at: int
) -> None:
    """Goals: told in the minute in which it is first seen (after its first step's own delay), nothing after it was
    acknowledged, and never more often than steps and repeats in any quarter of an hour of chatter allow."""
    from controller.callout.plan import Person

    plan = Plan(
        name="x", zone="UTC", people=(Person(key="a", name="A", mail="a@x"),),
        rules=(Rule(priorities=("high",), steps=tuple(Step(after_min=after, who=("a",)) for after in afters),
                    repeat_min=repeat, repeats_max=most),),
    )
    night = Night(plan, 0)
    for minute, on in enumerate(stands):
        if minute >= taken_at:
            night.pass_by(1, acknowledged=(STOP,))
        else:
            night.pass_by(1, *([HIGH] if on else []))
    told = [minute for minute, _person, _tag, kind in night.told if kind == "step"]
    assert not [minute for minute in told if minute >= taken_at or not stands[minute]]
    first = next((minute for minute, on in enumerate(stands[:taken_at]) if on), None)
    if afters[0] == 0 and first is not None:
        assert told[0] == first
    assert len(told) <= (len(afters) + most) * (1 + len(stands) // 15)


def test_a_call_is_plain_data() -> None:
    assert Call("anna", STOP, "step", 1) == Call("anna", Key("north", "emergency-stop"), "step", 1)
