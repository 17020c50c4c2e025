"""Texts: every language says everything, and says it with the same names in it."""

from __future__ import annotations

import re

import pytest

from controller.core.rows.alarms import ALARMS
from controller.page.web.html import FOLDER as TEMPLATES
from controller.page.web.wording import FOLDER, LANGUAGES, best, texts

SCRIPTS = TEMPLATES.parent / "static" / "js"
OPTIONAL = ("alarm.", "point.", "dutyitem.")  # English comes from the record itself


def names(text: str) -> set[str]:
    return set(re.findall(r"\{(\w+)\}", text))


@pytest.mark.parametrize("language", [code for code in LANGUAGES if code != "en"])
def test_a_language_has_every_text_with_the_same_names_in_it(language: str) -> None:
    import tomllib

    from controller.page.web.wording import _flat

    own = _flat(tomllib.loads((FOLDER / f"{language}.toml").read_text(encoding="utf-8")))
    english = texts("en")
    assert sorted(set(english) - set(own)) == []
    assert sorted(key for key in set(own) - set(english) if not key.startswith(OPTIONAL)) == []
    assert {key: own[key] for key in english if names(own[key]) != names(english[key])} == {}


def test_german_says_of_most_alarms_what_they_mean_and_of_none_that_is_no_more() -> None:
    """One that is new is shown in English until its German is written."""
    told = {row.tag for row in ALARMS}
    known = {key.split(".")[1] for key in texts("de") if re.fullmatch(r"alarm\.[\w-]+\.action", key)}
    assert known <= told
    assert len(known) > 0.7 * len(told)


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
