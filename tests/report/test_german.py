"""The report in German: every text is there, nothing English is left unmarked, figures are written as on the page."""

from __future__ import annotations

import re
import time
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any

import pytest

from controller.core.rows.alarms import ALARMS
from controller.report import spoken
from controller.report.html import facts, page
from controller.report.recorded import opened
from controller.report.words import ENGLISH, Words, words_of
from controller.wording.texts import LANGUAGES

GERMAN = words_of("de")
ROWS = {row.tag: row for row in ALARMS}
# Words that no German sentence has, in small letters as they stand here.
ENGLISH_WORDS = frozenset((
    "the", "of", "and", "is", "not", "from", "to", "by", "with", "below", "above", "at", "no", "none", "it", "for",
    "on", "open", "until", "than", "more", "less", "after", "before", "over", "what", "where", "be", "are", "this",
    "that", "has", "have", "were", "only", "as", "but", "done", "bay", "level", "asked", "mean", "heat", "air", "hold",
))  # fmt: skip
VOID = {"meta", "br"}
ON_HAND = "sein Schalter am Schaltschrank steht auf Hand oder Aus"


class Reading(HTMLParser):
    """Every text that a person sees or hears, and those of them that are marked as English."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[tuple[str, str | None]] = []
        self.own: list[str] = []
        self.english: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.open.append((tag, dict(attrs).get("lang")))
        self.own += [value or "" for name, value in attrs if name == "aria-label"]

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """A part of a drawing: no text stands in it."""

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop()[0] == tag

    def handle_data(self, data: str) -> None:
        if not data.strip() or any(tag in ("style", "code") for tag, _lang in self.open):
            return
        marked = any(lang == "en" for _tag, lang in self.open)
        (self.english if marked else self.own).append(data.strip())


def read(text: str) -> Reading:
    found = Reading()
    found.feed(text)
    found.close()
    return found


def unmarked(found: Reading) -> list[str]:
    """Texts that pass for German and have an English word in them."""
    return [text for text in found.own if ENGLISH_WORDS & set(re.findall(r"\b[a-zäöüß]+\b", text))]


def german_of(reported: Any) -> str:
    with opened(reported.record) as recorded:
        return page(facts(recorded, "de"))


@pytest.fixture(scope="module")
def german_day(day: Any) -> str:
    return german_of(day)


@pytest.fixture(scope="module")
def german_trouble(troubled: Any) -> str:
    return german_of(troubled)


def fields(text: str) -> set[str]:
    """Names with the format in which they are filled in."""
    return set(re.findall(r"\{(\w+(?::(?!%)[^}]*)?)", text))


@pytest.mark.parametrize("language", [code for code in LANGUAGES if code != "en"])
def test_a_language_has_every_text_with_the_same_figures_in_it(language: str) -> None:
    own, english = words_of(language)._own, ENGLISH._own
    assert set(own) == set(english)
    assert {key: own[key] for key in english if fields(own[key]) != fields(english[key])} == {}


def test_a_german_report_of_a_day_has_no_english_left(german_day: str) -> None:
    found = read(german_day)
    assert '<html lang="de">' in german_day
    assert unmarked(found) == []
    assert found.english == []
    assert len(found.own) > 400


def test_a_german_report_of_trouble_marks_what_it_has_no_words_for(german_trouble: str) -> None:
    found = read(german_trouble)
    assert unmarked(found) == []
    # what the record of the test says in words of its own
    assert set(found.english) == {
        "door <open>", "close it", "high limiter", "tripped", "no answer from the panel", "no controller for 0 s",
    }
    words = " ".join(found.own)
    for said in ("TT-110 erzwungen auf 20, von anna: trial", "von Hand übersteuert: TT-110 erzwungen",
                 "Zuerst ausgelöst: festverdrahteter Temperaturbegrenzer", "Tor von Feld 2", "bereit → läuft",
                 "Starten, erledigt"):
        assert said in words


def test_figures_and_times_of_a_german_report_are_written_as_on_the_page(day: Any, german_day: str) -> None:
    found = read(german_day)
    hold = day.facts["summary"]["truth"]["hold"]
    texts = [re.sub(r"\d\d\.\d\d\.\d{4}|Dewhold \S+;.*", "", text) for text in found.own]
    assert [text for text in texts if re.search(r"\d\.\d", text)] == []
    assert f"{hold['in_band_pct']:.1f} %".replace(".", ",") in found.own
    words = " ".join(found.own)
    assert GERMAN.moment(1_772_467_210_000.0) in words
    assert re.search(r"\b(Mo|Di)\., \d\d:\d\d", words)  # by the time zone of this computer


@pytest.mark.parametrize(
    ("zone", "local"),
    [
        ("CET-1CEST,M3.5.0,M10.5.0/3", "17:00, UTC+01:00"),
        ("NZST-12NZDT,M9.5.0,M4.1.0/3", "03.03.2026, 05:00, UTC+13:00"),
    ],
)
def test_a_moment_has_the_local_time_and_its_day_where_that_is_another(
    zone: str, local: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patched:
        patched.setenv("TZ", zone)
        time.tzset()
        said = GERMAN.moment(1_772_467_210_000.0)
    time.tzset()
    assert said == f"02.03.2026, 16:00:10 UTC (hier {local})"


def test_thousands_are_parted_in_german_and_not_in_english() -> None:
    assert GERMAN.number(12345.6, 1) == "12.345,6"
    assert ENGLISH.number(12345.6, 1) == "12345.6"
    assert GERMAN.number(None, 1) == ENGLISH.number(None, 1) == "-"
    assert GERMAN.energy({"heat": 1200.0, "gas": 34.0}) == "1.234\N{NO-BREAK SPACE}kWh (Wärme 1.200, gas 34)"


def test_the_plots_are_labelled_in_german_and_draw_the_same(day: Any, german_day: str) -> None:
    found = re.findall(r'<g id="([\w-]+-(?:line|band|strip)-[\w-]+)">', german_day)
    assert found == re.findall(r'<g id="([\w-]+-(?:line|band|strip)-[\w-]+)">', day.page)
    for label in (">Untergrenze<", ">kälteste Oberfläche<", ">2 Erwärmen<", ">Wärme, kW<", ">reif bei 30 h<"):
        assert label in german_day


def test_a_text_that_a_language_lacks_is_english_and_marked_so() -> None:
    lacking = Words("de", {}, ENGLISH._own)
    assert spoken.element(lacking, "page.course") == '<span lang="en">Course</span>'
    assert lacking("page.course") == "Course"
    assert spoken.element(GERMAN, "page.course") == "Verlauf"


def test_an_alarm_is_known_by_its_tag_only_where_its_words_are_the_programs() -> None:
    row = ROWS["door-open"]
    assert spoken.alarm(GERMAN, "door-open", f"{row.text}: {row.cause}") == (
        "Tor offen: ein Tor ist offen oder sein Schalter verstellt"
    )
    assert spoken.alarm(GERMAN, "door-open", f"{row.text}: over") == "Tor offen: vorbei"
    own = replace(row, tag="gas", text="gas <detector>")
    assert spoken.alarm(GERMAN, own.tag, f"{own.text}: over") == '<span lang="en">gas &lt;detector&gt;</span>: vorbei'
    assert spoken.alarm(ENGLISH, "door-open", f"{row.text}: over") == "door open: over"
    assert spoken.action(GERMAN, "door-open", row.action).startswith("sicherstellen")
    assert spoken.action(GERMAN, "door-open", "run") == '<span lang="en">run</span>'


def test_every_protection_and_alarm_of_the_program_trips_in_german() -> None:
    said = {row.tag: spoken.alarm(GERMAN, row.tag, f"{row.text}: {row.cause}") for row in ALARMS}
    assert {tag for tag, text in said.items() if "<span" in text} == set()


@pytest.mark.parametrize(
    ("data", "german"),
    [
        ({"verb": "hold", "outcome": "done", "reason": ""}, "Uhr anhalten, erledigt"),
        ({"verb": "start", "outcome": "refused", "reason": "stale: 9 s old, at most 2 s; give it again"},
         "Starten, abgelehnt: überholt: 9 s alt, höchstens 2 s; noch einmal geben"),
        ({"verb": "abort", "outcome": "refused", "reason": "new"},
         'Zyklus abbrechen, abgelehnt: <span lang="en">new</span>'),
    ],
)  # fmt: skip
def test_an_order_is_told_with_what_became_of_it(data: dict[str, str], german: str) -> None:
    assert spoken.order(GERMAN, data) == german


def test_service_is_called_as_the_page_calls_it() -> None:
    item = ("calibration of the air probes", "compare them")
    assert spoken.duty(GERMAN, "probes", "done: calibration of the air probes, by anna: all well", item) == (
        "erledigt: Kalibrieren der Luftfühler, von anna: all well"
    )
    assert spoken.duty(ENGLISH, "probes", "done: calibration, by anna", item) == "done: calibration, by anna"
    assert spoken.duty(GERMAN, "own", "due: oil; look", None) == "fällig: oil; look"


@pytest.mark.parametrize(
    ("english", "german"),
    [
        ("tripped: door-open, own-row", "ausgelöst: Tor offen, own-row"),
        ("overridden by hand: TT-110 forced, HIC-1 in manual, lock-out",
         "von Hand übersteuert: TT-110 erzwungen, HIC-1 auf Hand, Sperren"),
        ("in hand at the panel: a drive is not in automatic: its switch at the panel is in hand or off",
         "am Schaltschrank in Hand: ein Antrieb steht nicht auf Automatik: " + ON_HAND),
        ("boards wet: 0.1 > 0.005 kg/m2", "Bretter nass: 0,1 > 0,005 kg/m²"),
        ("something new", '<span lang="en">something new</span>'),
    ],
)  # fmt: skip
def test_a_reason_of_the_verdict_names_what_it_names_in_german(english: str, german: str) -> None:
    assert spoken.reason(GERMAN, english) == german
    assert spoken.reason(ENGLISH, english) == english


def test_who_ordered_keeps_a_name_and_the_command_line_has_a_word() -> None:
    assert [spoken.who(GERMAN, name) for name in ("anna", "command line")] == ["anna", "Befehlszeile"]


def test_a_german_page_has_room_for_its_longer_words_and_an_english_one_is_as_it_was(day: Any, german_day: str) -> None:
    assert "232px" in german_day
    assert "232px" not in day.page


def test_sentences_of_the_page_stand_apart(troubled: Any, german_trouble: str) -> None:
    assert "of the readings were good. Not always good: " in troubled.page
    assert "der Messwerte waren gut. Nicht immer gut: " in german_trouble
