"""Messages in another language: the same keys and names, the alarms' own words, whoever reads them."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from controller.callout import words
from controller.callout.by_when import Facts, limits
from controller.callout.escalation import Incident, Key, Next
from controller.callout.language import language_of, texts_of
from controller.callout.plan import Person, Plan
from controller.callout.situation import SILENT, Situation, Standing
from controller.callout.words import Told
from controller.core.rows.alarms import ALARMS

GERMAN = texts_of("de")
ROWS = {row.tag: row for row in ALARMS}


def names(text: str) -> set[str]:
    return set(re.findall(r"\{(\w+)", text))


def test_german_has_every_text_with_the_same_names_in_it() -> None:
    english = texts_of("en").texts
    missing = {key for key in english if key not in GERMAN.texts}
    assert missing == set()
    assert {key for key, text in english.items() if names(text) != names(GERMAN.texts[key])} == set()
    assert set(GERMAN.texts) - set(english) <= {f"procedure.{state}" for state in (
        "idle", "running", "pausing", "paused", "holding", "restarting", "stopping", "stopped", "aborting", "aborted",
        "complete",
    )}  # fmt: skip


def test_every_alarm_of_the_program_has_german_words() -> None:
    for row in (SILENT, *ALARMS):
        german = GERMAN.row(row)
        assert all(
            getattr(german, part) != getattr(row, part) for part in ("text", "cause", "consequence", "action")
        ), row.tag
        assert (german.tag, german.priority) == (row.tag, row.priority)


def test_a_row_that_a_chamber_adds_is_told_as_its_file_says_it() -> None:
    own = replace(ROWS["door-open"], tag="gas-in-chamber", text="gas detector")
    assert GERMAN.row(own) is own


def test_a_whole_message_in_german(plan: Plan, utc_of: Any) -> None:
    now_ms = utc_of("2026-03-03T02:20")
    facts = Facts(
        drying_kg_per_m2=0.25, drying_s=12 * 3600.0, mean_h_min=4.0, drying_mean_max=0.1, core_degC_max=58.0,
        ready_age_h=30.0, drying_rate=((0.0, 1.43),),
    )
    standing = Standing(ROWS["drying-at-once"], "U", now_ms - 360_000)
    situation = Situation(
        chamber="north", standing=(standing,), last_ms=now_ms - 2000, silent_s=2.0, procedure="running",
        cycle_s=12 * 3600.0, now=(("air", 31.2), ("rh", 82.4), ("margin", 1.9), ("heat", 20.0), ("fog", 60.0),
                                  ("vent", 0.0)), facts=facts,
    )  # fmt: skip
    incident = Incident(Key("north", "drying-at-once"), "high", now_ms - 360_000, 1, ("anna",), now_ms - 300_000)
    told = [Told("north", standing, incident, Next(now_ms + 600_000, ("anna", "cleo")))]
    subject = words.alarm_subject(told, {"north": situation}, GERMAN)
    assert subject == "north: das Produkt trocknet schnell, Trockengrenze des Produkts in 43 min"
    text = words.alarm_text(plan, "anna", told, {"north": situation}, now_ms, GERMAN)
    lines = text.splitlines()
    assert lines[0] == "north: ein Alarm braucht Sie"
    assert "* DAS PRODUKT TROCKNET SCHNELL" in lines
    assert "  Dringlichkeit hoch, seit 03:14 CET (6 min)" in lines
    assert "  tun   jetzt nach Nebel, Toren und Abluft sehen" in lines
    assert "        trocknet jetzt mit 1,43 kg/m2h, im Mittel 0,021 von 0,1" in text
    assert "Luft 31,2 °C, 82 % r.F., Abstand zum Taupunkt 1,90 K; verlangt:" in text
    assert "Geschieht nichts bis 03:30 CET: noch einmal Sie," in text
    english = {"alarm", "priority", "since", "Acknowledge", "nobody", "told"}
    assert english & set(re.findall(r"\w+", text)) == set()


@pytest.mark.parametrize(
    ("seconds", "said"), [(40, "40 s"), (45 * 60, "45 min"), (7800, "2 h 10 min"), (3 * 86400, "3 Tagen")]
)
def test_lengths_of_time(seconds: float, said: str) -> None:
    assert words.span(seconds, GERMAN) == said


def test_the_day_stands_in_front_in_german_too(plan: Plan, utc_of: Any) -> None:
    text = words.local(plan, utc_of("2026-03-04T02:20"), utc_of("2026-03-03T02:20"), GERMAN)
    assert text == "Mi 04 Mär 03:20 CET"


def test_everybody_is_told_in_their_own_language_or_that_of_the_file(plan: Plan) -> None:
    people = (Person(key="a", name="A", mail="a@example.com"), Person(key="b", name="B", hooks=("x",), language="de"))
    mixed = replace(plan, people=people)
    assert [language_of(mixed, key) is GERMAN for key in ("a", "b")] == [False, True]
    assert language_of(replace(mixed, language="de"), "a") is GERMAN


def test_what_a_limit_says_is_the_same_in_figures_and_in_words() -> None:
    falling = tuple((60.0 * minute, 1.0 - 0.02 * minute) for minute in range(31))
    rising = tuple((60.0 * minute, 50.0 + 0.1 * minute) for minute in range(31))
    facts = Facts(
        drying_kg_per_m2=0.25, drying_s=7200.0, mean_h_min=4.0, drying_mean_max=0.1, core_degC_max=58.0,
        ready_age_h=80.0, drying_rate=((0.0, 1.43),), dew_margin_K=falling, core_degC=rising, age_h=rising,
    )
    found = limits(facts)
    assert {limit.key for limit in found} == {"dry_basis", "wet_basis", "hot_basis", "ready_basis"}
    for limit in found:
        assert texts_of("en")(f"limit.{limit.key}", **dict(limit.figures)) == limit.basis
        assert texts_of("en").texts["limit." + limit.key.partition("_")[0]] == limit.what
