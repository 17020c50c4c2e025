"""What people read: whole messages as they go out, and that nothing misleads a sleepy reader."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.callout import words
from controller.callout.by_when import Facts
from controller.callout.escalation import Incident, Key, Next
from controller.callout.plan import Plan
from controller.callout.situation import SILENT, Situation, Standing
from controller.callout.words import Told
from controller.core.rows.alarms import ALARMS

ROWS = {row.tag: row for row in ALARMS}
HOUR_MS = 3_600_000


def trend(now: float, per_h: float) -> tuple[tuple[float, float], ...]:
    return tuple((60.0 * minute, now + per_h * (minute - 30) / 60.0) for minute in range(31))


@pytest.fixture
def now_ms(utc_of: Callable[[str], int]) -> int:
    """20 past three at night in Berlin."""
    return utc_of("2026-03-03T02:20")


@pytest.fixture
def situation(now_ms: int) -> Situation:
    facts = Facts(
        drying_kg_per_m2=0.25, drying_s=12 * 3600.0, mean_h_min=4.0, drying_mean_max=0.1, core_degC_max=58.0,
        ready_age_h=30.0, drying_rate=trend(1.43, 0.0), dew_margin_K=trend(1.9, 0.5), core_degC=trend(33.0, 0.1),
        age_h=trend(24.0, 1.6),
    )
    now = (("air", 31.2), ("rh", 82.4), ("margin", 1.9), ("heat", 20.0), ("fog", 60.0), ("vent", 0.0))
    standing = (Standing(ROWS["drying-at-once"], "U", now_ms - 6 * 60_000),)
    return Situation(
        "north", last_ms=now_ms - 2000, silent_s=1.0, procedure="running", cycle_s=12.4 * 3600.0, standing=standing,
        now=now, facts=facts,
    )


def told(situation: Situation, tag: str, now_ms: int, following: Next | None = None) -> Told:
    row = SILENT if tag == SILENT.tag else ROWS[tag]
    key = Key("north", tag)
    incident = Incident(key, row.priority, now_ms, steps=1, begun_ms=now_ms, last_ms=now_ms, told=("ben",))
    return Told("north", Standing(row, "U", now_ms - 6 * 60_000), incident, following)


def test_the_subject_says_chamber_what_and_by_when(situation: Situation, now_ms: int) -> None:
    one = told(situation, "drying-at-once", now_ms)
    assert words.alarm_subject([one], {"north": situation}) == (
        "north: the product dries fast, product dry limit in 43 min"
    )
    more = [told(situation, "probe-bad", now_ms), one]
    assert words.alarm_subject(more, {"north": situation}).endswith("(+1 more)")


def test_a_whole_message_as_it_goes_out(plan: Plan, situation: Situation, now_ms: int) -> None:
    """Read at three in the morning: what, by when, what to do, who is next. As a person approved of it."""
    one = told(situation, "drying-at-once", now_ms, Next(now_ms + 10 * 60_000, ("ben", "cleo")))
    text = words.alarm_text(replace(plan, link="https://page.example.com"), "ben", [one], {"north": situation}, now_ms)
    assert text == """\
north: one alarm needs you

* THE PRODUCT DRIES FAST
  high priority, since 03:14 CET (6 min)
  do    look at fog, doors and vent now
  why   fog missing, a door open, or vent open
  else  surface dust, cracks and pale product within the hour

By when, if it goes on like this (a guess from the last minutes):
  product dry limit: in 43 min, 04:02 CET
        dries at 1.43 kg/m2h now, 0.021 on average of 0.1 allowed
  product ready: in 3 h 45 min, 07:05 CET
        24.0 h of 30 h equivalent age, estimated, not tested

north: running, 12.4 h into the cycle
air 31.2 degC, 82 %RH, dew margin 1.90 K; asked for: heat 20 kW, fog
60 kg/h, vent 0.00 kg/s
last recorded 03:19 CET

Acknowledge it at the panel or on the page:
https://page.example.com
If nothing happens by 03:30 CET: you again, Cleo Marten.

--{blank}
demo works. Dewhold is no safety function: for danger to people
follow the rules of the works. Answers to this message are not read.
""".replace("{blank}", " ")


def test_a_simulated_chamber_says_so_first_and_has_its_own_clock(
    plan: Plan, situation: Situation, now_ms: int
) -> None:
    """Paced at many times real time its record is days away from the clock on the wall."""
    far = replace(situation, simulated=True, last_ms=now_ms - 50 * HOUR_MS)
    since = Standing(ROWS["drying-at-once"], "U", far.last_ms - 60_000)
    one = replace(told(far, "drying-at-once", now_ms), standing=since)
    assert words.alarm_subject([one], {"north": far}).startswith("SIMULATED north: ")
    text = words.alarm_text(plan, "ben", [one], {"north": far}, now_ms)
    assert text.startswith("SIMULATED north")
    assert "since 01:19 CET in the simulation (61 s)" in text


def test_the_most_urgent_alarm_comes_first(plan: Plan, situation: Situation, now_ms: int) -> None:
    several = [told(situation, tag, now_ms) for tag in ("probe-bad", "humidity-low", "emergency-stop")]
    text = words.alarm_text(plan, "ben", several, {"north": situation}, now_ms)
    heads = [line for line in text.splitlines() if line.startswith("* ")]
    assert heads == ["* EMERGENCY STOP", "* HUMIDITY BELOW WHAT THE RECIPE ACCEPTS", "* A PROBE GIVES NO GOOD READING"]
    assert "north: 3 alarms need you" in text


def test_a_record_that_is_silent_promises_nothing(plan: Plan, situation: Situation, now_ms: int) -> None:
    """No limits from old values, and no advice to acknowledge what nobody can acknowledge."""
    silent = replace(situation, silent_s=400.0, last_ms=now_ms - 400_000)
    text = words.alarm_text(plan, "ben", [told(silent, SILENT.tag, now_ms)], {"north": silent}, now_ms)
    assert "By when" not in text
    assert "nobody can acknowledge it" in text
    assert "last recorded 03:13 CET, 7 min ago" in text


def test_a_record_that_cannot_be_read_is_told_as_that(plan: Plan, now_ms: int) -> None:
    broken = Situation("north", trouble="there is no record at /data", silent_s=900.0)
    text = words.alarm_text(plan, "ben", [told(broken, SILENT.tag, now_ms)], {"north": broken}, now_ms)
    assert "its record cannot be read: there is no record at /data" in text


@pytest.mark.parametrize("kind", ["acknowledged", "over"])
def test_the_end_says_who_took_it_or_that_nobody_did(
    plan: Plan, situation: Situation, now_ms: int, kind: str
) -> None:
    taken = replace(situation, acknowledged=("cleo", now_ms))
    text = words.end_text(plan, kind, [("north", "emergency stop")], {"north": taken}, now_ms)
    subject = words.end_subject(kind, [("north", "emergency stop"), ("south", "person inside")])
    assert subject == f"north: {kind}: emergency stop (+1 more)"
    assert ("acknowledged by cleo, 03:20 CET" in text) is (kind == "acknowledged")
    assert ("Nobody has acknowledged it" in text) is (kind == "over")


@pytest.mark.parametrize(
    ("changes", "expected"),
    [({}, "1 alarm standing"), ({"standing": ()}, "all quiet"), ({"silent_s": 400.0}, "1 of 1 not recording"),
     ({"silent_s": 400.0, "over": True, "standing": ()}, "all quiet")],
)
def test_the_daily_test_says_how_all_is(
    plan: Plan, situation: Situation, now_ms: int, changes: dict[str, Any], expected: str
) -> None:
    now = replace(situation, **changes)
    assert words.test_subject(plan, [now]) == f"demo works: test of the call-out, {expected}"
    text = words.test_text(plan, [now], 2, now_ms)
    assert "Nothing is asked of you" in text
    assert "every day at 07:00" in text
    assert "2 messages of the last day could not be delivered" in text


def test_when_the_call_out_itself_has_trouble_that_comes_first_and_what_stands_after_it(
    plan: Plan, situation: Situation, now_ms: int
) -> None:
    standing = [("north", Standing(ROWS[tag], "U", now_ms - 60_000)) for tag in ("probe-bad", "emergency-stop")]
    subject = words.resort_subject(plan, standing)
    assert subject == "demo works: the call-out cannot work as it should; north: emergency stop"
    assert words.resort_subject(plan, []) == "demo works: the call-out cannot work as it should"
    text = words.resort_text(plan, standing, "database or disk is full", now_ms)
    assert text.startswith("The call-out's own file cannot be written: database or disk is full.")
    assert text.index("EMERGENCY STOP") < text.index("A PROBE GIVES NO GOOD READING")


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(12.4, "12 s"), (89.0, "89 s"), (100.0, "2 min"), (45 * 60.0, "45 min"), (7800.0, "2 h 10 min"), (7200.0, "2 h"),
     (90 * 3600.0, "4 days")],
)
def test_lengths_of_time_are_said_as_people_say_them(seconds: float, text: str) -> None:
    assert words.span(seconds) == text


def test_times_carry_their_zone_and_their_day_when_it_is_another(plan: Plan, utc_of: Callable[[str], int]) -> None:
    """In the hour that comes twice only the zone tells which it is."""
    now = utc_of("2026-10-25T00:10")
    assert words.local(plan, utc_of("2026-10-25T00:30"), now) == "02:30 CEST"
    assert words.local(plan, utc_of("2026-10-25T01:30"), now) == "02:30 CET"
    assert words.local(plan, utc_of("2026-10-26T01:30"), now) == "Mon 26 Oct 02:30 CET"


def test_every_alarm_there_is_fits_a_narrow_screen(plan: Plan, situation: Situation, now_ms: int) -> None:
    for row in (*ALARMS, SILENT):
        text = words.alarm_text(plan, "ben", [told(situation, row.tag, now_ms)], {"north": situation}, now_ms)
        assert max(map(len, text.splitlines())) <= 76
        assert row.action.split()[0] in text
