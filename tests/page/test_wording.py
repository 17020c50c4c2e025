"""Texts: every language says everything, and says it with the same names in it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest

from controller.config.find import find, known
from controller.config.loader import parse_table, read
from controller.core.columns import COMPUTED
from controller.core.orders.commands import VERBS
from controller.core.orders.procedure import COMMANDS, TABLE, after_command, refusal
from controller.core.points import Point
from controller.core.rows.alarms import ALARMS
from controller.core.rows.heat_words import worded
from controller.core.sequence.recipe import PhaseKind, Recipe
from controller.page.live.bound import bound
from controller.page.people.roles import ROLES
from controller.page.recipes import Charge, ahead, phases
from controller.page.web.html import FOLDER as TEMPLATES
from controller.store.reader import Reader
from controller.wording.phrases import said
from controller.wording.texts import FOLDER, LANGUAGES, best, flat, texts

SCRIPTS = TEMPLATES.parent / "static" / "js"
OPTIONAL = ("alarm.", "dutyitem.")  # English comes from the record itself
TOO_COLD = (
    "after the outage the air is 3.2 degC, outside 5 to 45 degC, the limits of this chamber: have the product judged;"
    " when it is good, reset, then start with its age"
)
ZU_KALT = (
    "nach dem Ausfall hat die Luft 3,2 °C, außerhalb von 5 bis 45 °C, den Grenzen dieser Kammer: Produkt beurteilen"
    " lassen; ist es gut, räumen, dann mit seinem Alter starten"
)
FAR_OFF = (
    "the air is 20.0 degC, more than 5 K off its band of 28.0 to 40.0 degC: look at chamber and product, then restart"
    " it yourself"
)
ZU_WEIT = (
    "die Luft hat 20,0 °C, mehr als 5 K neben ihrem Band von 28,0 bis 40,0 °C: nach Kammer und Produkt sehen, dann die"
    " Uhr selbst wieder anlaufen lassen"
)


def names(text: str) -> set[str]:
    return set(re.findall(r"\{(\w+)\}", text))


@pytest.mark.parametrize("language", [code for code in LANGUAGES if code != "en"])
def test_a_language_has_every_text_with_the_same_names_in_it(language: str) -> None:
    import tomllib

    own = flat(tomllib.loads((FOLDER / f"{language}.toml").read_text(encoding="utf-8")))
    english = texts("en")
    assert sorted(set(english) - set(own)) == []
    assert sorted(key for key in set(own) - set(english) if not key.startswith(OPTIONAL)) == []
    assert {key: own[key] for key in english if names(own[key]) != names(english[key])} == {}


@pytest.mark.parametrize("language", [code for code in LANGUAGES if code != "en"])
def test_every_alarm_is_explained_in_every_language_and_none_that_is_no_more(language: str) -> None:
    """English comes from the row itself; words for other heaters than hot water are looked up as sentences."""
    parts = ("text", "cause", "consequence", "action")
    wanted = {f"alarm.{row.tag}.{part}" for row in ALARMS for part in parts}
    known = {key for key in texts(language) if re.fullmatch(rf"alarm\.[\w-]+\.({'|'.join(parts)})", key)}
    assert known == wanted
    assert [row.text for row in ALARMS if "text" not in parts or not row.text] == []
    others = [row for kind in ("gas", "electric", "steam") for row in worded(ALARMS, kind) if row not in ALARMS]
    said_of = {text: said(text, language)[1] for row in others for text in (row.cause, row.action)}
    assert {text for text, found in said_of.items() if not found} == set()
    assert len(said_of) > 20


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_phase_state_and_order_has_its_word_in_every_language(language: str) -> None:
    own = texts(language)
    wanted = {f"phase.{kind}" for kind in get_args(PhaseKind)} | {f"state.{state}" for state in TABLE}
    wanted |= {f"verb.{verb}" for verb in VERBS} | {f"role.{role}" for role in ROLES}
    assert wanted - set(own) == set()


def test_what_a_record_and_a_forecast_say_is_known_in_german(data: Path) -> None:
    with Reader(data / "record.sqlite") as reader:
        lines = [row.text for row in reader.journal() if row.kind in ("state", "phase", "command")]
        here = bound(reader.header())
    told = [phase["ends"] for name in known("recipe") for phase in phases(read(find("recipe", name), Recipe).value)]
    for degC in (10.0, 25.0):
        recipe = read(find("recipe", "gentle"), Recipe).value
        found = ahead(here, recipe, here.mix, Charge(120.0, degC, outdoor_degC=-5.0), interval=False)
        told += found["notes"] + found["problems"]
    told += [refusal(state, verb) for state in TABLE for verb in COMMANDS if after_command(state, verb) is None]
    assert len(told) > 50
    assert {text for text in lines + told if not said(text, "de")[1]} == set()


@pytest.mark.parametrize(
    ("english", "german"),
    [
        ("hold by olga: done", "Uhr anhalten von olga: erledigt"),
        ("start by command line: done", "Start von der Befehlszeile: erledigt"),
        ("hold by command line", "Uhr anhalten von der Befehlszeile"),
        ("recipe gentle, 120 t, mix demo-60 at 20 degC", "Rezept gentle, 120 t, Mischung demo-60 mit 20 °C"),
        ("recipe gentle, 120 t, mix demo-60 at 20 degC; recipe approved by berta",
         "Rezept gentle, 120 t, Mischung demo-60 mit 20 °C; Rezept freigegeben von berta"),
        ("recipe gentle, 0 t, mix demo-60 at 20 degC; no product",
         "Rezept gentle, 0 t, Mischung demo-60 mit 20 °C; kein Produkt"),
        ("recipe gentle, 0 t, mix demo-60 at 20 degC; no product; recipe approved by berta",
         "Rezept gentle, 0 t, Mischung demo-60 mit 20 °C; kein Produkt; Rezept freigegeben von berta"),
        ("dry limit of the ceiling", "Taugrenze an: Decke"),
        ("dry limit of the door frame bay 3", "Taugrenze an: Torrahmen Feld 3"),
        ("dry limit of the board bay 4 level 1, estimated, reserve 0.15 K",
         "Taugrenze an: Brett Feld 4 Etage 1, geschätzt, Reserve 0,15 K"),
        (f"held -> aborting: {TOO_COLD}", f"Uhr angehalten → wird abgebrochen: {ZU_KALT}"),
        (f"restart by restart: refused, {FAR_OFF}", f"Uhr wieder anlaufen lassen von restart: abgelehnt, {ZU_WEIT}"),
        ("phase 2 of 3, ramp: over, in band", "Phase 2 von 3, Erwärmen: vorbei, im Band"),
        ("pause by rest: refused, stale: 9 s old, at most 2 s; give it again",
         "Pause von rest: abgelehnt, überholt: 9 s alt, höchstens 2 s; noch einmal geben"),
        ("1.5 h of the phase and 24 h of the cycle", "1,5 h der Phase und 24 h des Zyklus"),
        ("salt and pepper", None), ("something new", None),
    ],
)  # fmt: skip
def test_a_sentence_is_put_together_from_what_is_known_of_it(english: str, german: str | None) -> None:
    """What people wrote and names stay as they are, and so does a sentence that nobody has put into German yet."""
    assert said(english, "de") == (german or english, german is not None)


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("running -> holding: hold by olga", "running → stopping the clock: stop the clock by olga"),
        ("phase 2 of 3, ramp: over, in band", "phase 2 of 3, warm up: over, in band"),
        ("phase 3 of 3, hold: begins at 28.0 to 40.0 degC", "phase 3 of 3, hold: begins at 28.0 to 40.0 degC"),
        ("abort by olga: refused, refused while held: no",
         "break off the cycle by olga: refused, refused while clock stopped: no"),
        ("something new", "something new"),
    ],
)  # fmt: skip
def test_an_english_page_says_its_own_words_for_those_of_the_standard(written: str, shown: str) -> None:
    assert said(written, "en")[0] == shown


def test_every_text_that_templates_and_scripts_name_is_there() -> None:
    english = texts("en")
    asked: dict[str, str] = {}
    for path in TEMPLATES.glob("*.html"):
        asked |= dict.fromkeys(re.findall(r"\bt\([\"']([\w.-]+)[\"'][,)]", path.read_text(encoding="utf-8")), path.name)
    for path in SCRIPTS.glob("*.js"):
        asked |= dict.fromkeys(re.findall(r"\bt\(\"([\w.-]+)\"[,)]", path.read_text(encoding="utf-8")), path.name)
    assert {key: where for key, where in asked.items() if key not in english} == {}
    assert len(asked) > 150


@pytest.mark.parametrize(
    ("wanted", "chosen", "expected"),
    [("de-AT,en;q=0.5", "", "de"), ("fr,de;q=0.3", "", "de"), ("fr", "", "en"), ("", "", "en"), ("de", "en", "en")],
)
def test_the_best_language_for_somebody(wanted: str, chosen: str, expected: str) -> None:
    assert best(wanted, chosen) == expected


def test_every_point_and_column_of_the_shipped_chambers_has_a_german_name() -> None:
    """By what it is called, not by its tag: the same tag may be another thing in a chamber of one's own."""
    folder = find("points", "panel-a").parent
    files = sorted(folder.glob("*.csv"))
    called = {point.text for file in files for point in parse_table(file.read_bytes(), Point, "points").value}
    called |= {text for _tag, text, _unit in COMPUTED}
    assert len(called) > 80
    assert {text for text in called if not said(text, "de")[1]} == set()


def test_every_phase_of_a_shipped_recipe_is_told_in_german() -> None:
    told = {phase.text for name in known("recipe") for phase in read(find("recipe", name), Recipe).value.phases}
    assert len(told) > 12
    assert {text for text in told if text and not said(text, "de")[1]} == set()


def test_a_sentence_that_only_happens_to_say_by_is_not_taken_for_an_order() -> None:
    written = "One bay stays empty, and the load is smaller by what would stand there."
    assert said(written, "de") == (written, False)
    assert {verb for verb in VERBS if not said(f"{verb} by olga: done", "de")[1]} == set()
