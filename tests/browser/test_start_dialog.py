"""The start dialog: nothing is started on an empty or wrong number, nor on forecasts of other numbers."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import expect

from controller.config.find import find
from controller.page.people import accounts
from controller.page.people.book import Book
from controller.store.desk import Desk, approve, keep_recipe
from tests.browser.conftest import PASSWORD, Stage, Window

Open = Callable[..., Window]


@pytest.fixture(scope="module")
def stage(stage: Stage) -> Iterator[Stage]:
    """The idle chamber of the stage with somebody who operates it."""
    book = Book(stage.data / "page" / "people.sqlite")
    assert accounts.add(book, "olga", "", "operate", PASSWORD) == ""
    book.close()
    yield stage


@pytest.mark.parametrize(
    ("locale", "tonnes", "most"),
    [
        ("en-GB", "enter the tonnes", "Fresh product: at most 150 t is allowed."),
        ("de-DE", "die Tonnen eintragen", "Frisches Produkt: höchstens 150 t ist erlaubt."),
    ],
)
def test_start_is_possible_only_with_forecasts_of_what_is_entered(
    window: Open, locale: str, tonnes: str, most: str
) -> None:
    one = window("olga", width=1366, locale=locale)
    one.go("/chamber/chamber")
    page = one.page
    page.locator("#buttons [data-verb=start]").click()
    go, wrong = page.locator("#start-go"), page.locator("#start-wrong")
    expect(go).to_be_enabled(timeout=60_000)
    page.fill("#start-load", "")
    expect(wrong).to_contain_text(tonnes)
    expect(go).to_be_disabled()
    expect(page.locator("#start-recipes")).to_have_class("recipes-ahead outdated")
    one.shoot(f"start-no-load-{locale[:2]}")
    assert one.barriers() == []
    for value in ("0", "-3", "150.5"):
        page.fill("#start-load", value)
        expect(wrong).to_contain_text("150")
        expect(go).to_be_disabled()
    page.fill("#start-load", "80")
    expect(wrong).to_be_hidden()
    expect(go).to_be_disabled()
    expect(go).to_be_enabled(timeout=60_000)
    assert page.locator(".outdated").count() == 0
    page.fill("#start-age", "")
    expect(wrong).to_be_visible()
    expect(go).to_be_disabled()
    page.fill("#start-age", "0")
    page.check("#start-nothing")
    expect(page.locator("#start-load")).to_be_disabled()
    expect(go).to_be_enabled(timeout=60_000)
    asked = "import('/static/js/core.js').then(c => c.ask('/api/v1/chambers/chamber/forecasts', {load_t: 151}))"
    assert page.evaluate(f"{asked}.catch(error => error.message)") == most


def test_two_approved_recipes_of_one_name_can_be_told_apart(stage: Stage, window: Open) -> None:
    text = find("recipe", "gentle").read_text(encoding="utf-8").replace("rate_K_per_h = 0.8", "rate_K_per_h = 0.7")
    with Desk(stage.data / "desk.sqlite") as desk:
        digest = keep_recipe(desk, "gentle", text, "enno", "slower, for the thick stones")
        approve(desk, digest, "berta", "supervise", "tried", withdrawn=False)
    one = window("olga", width=1366)
    one.go("/chamber/chamber")
    one.page.locator("#buttons [data-verb=start]").click()
    expect(one.page.locator("#start-go")).to_be_enabled(timeout=60_000)
    cards = one.page.locator("#start-recipes button", has_text="gentle")
    expect(cards).to_have_count(2)
    shipped, changed = cards.all_inner_texts()
    assert "shipped with the program" in shipped
    for words in (f"version {digest[:8]}", "approved by berta, ", "slower, for the thick stones"):
        assert words in changed
        assert words not in shipped
    one.shoot("start-same-name")
    one.go("/chamber/chamber/recipes")
    expect(one.page.locator("#same-name")).to_have_count(0)


def test_a_copy_that_keeps_its_name_is_told_so(stage: Stage, window: Open) -> None:
    book = Book(stage.data / "page" / "people.sqlite")
    assert accounts.add(book, "enno", "", "engineer", PASSWORD) == ""
    book.close()
    one = window("enno", width=1366)
    one.go("/chamber/chamber/recipes")
    one.page.get_by_role("button", name="Copy and change").click()
    text = one.page.locator("#text")
    expect(text).to_have_value(re.compile("name ="))
    copy = text.input_value() + "\n# a copy\n"
    text.fill(copy)
    expect(one.page.locator("#same-name")).to_contain_text("is taken", timeout=20_000)
    text.fill(re.sub(r'(?m)^name = "[^"]*"', 'name = "another"', copy))
    expect(one.page.locator("#same-name")).to_have_count(0, timeout=20_000)
    expect(one.page.locator("#problems")).to_contain_text("right for this chamber")
