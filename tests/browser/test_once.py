"""Nothing is done twice: by a double click, on an old picture, when the way is cut, or when a session locks itself."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import expect

from controller.page.people import accounts
from controller.page.people.book import Book
from controller.store.desk import Desk
from tests.browser.conftest import PASSWORD, Stage, Window

Open = Callable[..., Window]


@pytest.fixture(scope="module")
def stage(stage: Stage) -> Iterator[Stage]:
    """The idle chamber of the stage with somebody of each kind."""
    with_book(stage, lambda book: [accounts.add(book, name, "", role, PASSWORD) for name, role in (
        ("olga", "operate"), ("sven", "supervise"), ("berta", "administer"),
    )])  # fmt: skip
    yield stage


def with_book(stage: Stage, run: Callable[[Book], Any]) -> None:
    book = Book(stage.data / "page" / "people.sqlite")
    run(book)
    book.close()


def at_desk(stage: Stage, query: str) -> list[tuple[Any, ...]]:
    with Desk(stage.data / "desk.sqlite") as desk:
        return desk.rows(query)


def test_an_order_whose_answer_is_lost_is_the_same_order_when_it_is_pressed_again(stage: Stage, window: Open) -> None:
    one = window("olga")
    one.go("/chamber/chamber/alarms")
    page, lost = one.page, []

    def arrives_but_is_not_answered(route: Any) -> None:
        if len(lost) < 2:
            route.fetch()
            lost.append(route.request.post_data_json["id"])
            route.abort()
        else:
            route.continue_()

    page.route("**/commands", arrives_but_is_not_answered)
    page.route(re.compile("/commands/[0-9a-f]+"), lambda route: route.abort() if len(lost) < 2 else route.continue_())
    horn = page.locator("#quick [data-verb=silence]")
    horn.click()
    expect(page.locator("#outcome")).to_contain_text("the way to the page was cut")
    page.reload()  # even that does not make it another order
    horn.click()
    expect(page.locator("#outcome")).to_contain_text("the way to the page was cut")
    assert len(set(lost)) == 1
    expect(page.locator("#outcome")).to_contain_text("done", timeout=20_000)
    assert at_desk(stage, "SELECT id FROM commands WHERE verb = 'silence'") == [(lost[0],)]
    horn.click()
    expect(page.locator("#outcome")).to_contain_text("done", timeout=20_000)
    assert page.evaluate("sessionStorage.getItem('unsure chamber')") == "[]"
    asked = at_desk(stage, "SELECT count(*) FROM commands WHERE verb = 'silence'")
    assert asked == [(2,)], "known again, it may be given anew"


def test_an_order_that_never_arrived_is_told_so(window: Open) -> None:
    one = window("olga")
    one.go("/chamber/chamber/alarms")
    told = one.page.evaluate("""(async () => {
      const { Unsure } = await import('/static/js/unsure.js'), wait = window.setTimeout;
      window.setTimeout = (run) => wait(run, 0);
      return new Promise((resolve) => { new Unsure('chamber', (verb, outcome) => resolve([verb, outcome]), () => true)
        .keep('0'.repeat(32), 'charge', { bay: 1 }); }); })()""")
    assert told == ["charge", None]
    assert one.page.evaluate("sessionStorage.getItem('unsure chamber')") == "[]"


def test_nothing_is_given_on_a_picture_that_does_not_know_the_last_outcome_yet(window: Open) -> None:
    one = window("olga")
    one.go("/chamber/chamber")
    expect(one.page.locator("#buttons [data-verb=start]")).to_be_enabled()
    asked = """(async () => {
      const { Doing } = await import('/static/js/doing.js'), made = new Doing('chamber', null);
      const now = { state: 'running', phase: 1, by_person: true, trips: [], legal: [], journal: 7 };
      made.draw(now, true); made.tell('next-phase', { done: true, line: 9, utc_ms: 0, reason: '' });
      return [8, 9].map((journal) => { made.draw({ ...now, journal }, true);
        return document.querySelector('#buttons [data-verb=next-phase]').disabled; }); })()"""
    assert one.page.evaluate(asked) == [True, False]


def test_a_double_click_leaves_one_note_and_makes_one_token(stage: Stage, window: Open) -> None:
    olga = window("olga")
    olga.go("/chamber/chamber/shift")
    olga.page.fill("#note-text", "only once")
    olga.page.get_by_role("button", name="Leave the note").dblclick()
    expect(olga.page.locator("#notes")).to_contain_text("only once")
    assert at_desk(stage, "SELECT text FROM notes") == [("only once",)]
    berta = window("berta")
    berta.go("/people")
    berta.page.fill("#give-label", "a program")
    berta.page.get_by_role("button", name="Make a token").dblclick()
    expect(berta.page.locator("#tokens tr")).to_have_count(1)
    berta.page.wait_for_timeout(500)
    expect(berta.page.locator("#tokens tr")).to_have_count(1)


def test_a_session_that_locked_itself_is_unlocked_without_losing_what_was_typed(stage: Stage, window: Open) -> None:
    one = window("sven")
    one.go("/chamber/chamber/shift")
    one.page.fill("#note-text", "typed before it locked itself")
    with_book(stage, lock_all)
    one.page.get_by_role("button", name="Leave the note").click()
    dialog = one.page.get_by_role("dialog")
    dialog.locator("#unlock-password").fill("not the password")
    dialog.get_by_role("button", name="Unlock").click()
    expect(dialog).to_contain_text("not the password")
    dialog.locator("#unlock-password").fill(PASSWORD)
    dialog.get_by_role("button", name="Unlock").click()
    expect(one.page.locator("#notes")).to_contain_text("typed before it locked itself")
    assert at_desk(stage, "SELECT who FROM notes WHERE text LIKE 'typed%'") == [("sven",)]


def lock_all(book: Book) -> None:
    with book.writing() as db:
        db.execute("UPDATE sessions SET locked = 1")


def test_a_role_is_changed_by_an_answer_and_not_by_an_arrow_key(window: Open) -> None:
    one = window("berta")
    one.go("/people")
    role = one.page.get_by_label("Role: olga")
    role.focus()
    one.page.keyboard.press("ArrowDown")
    dialog = one.page.get_by_role("dialog")
    expect(dialog).to_contain_text("olga gets the role")
    one.page.keyboard.press("Escape")
    expect(dialog).to_have_count(0)
    assert role.input_value() == "operate"
    expect(one.page.locator("#trail")).not_to_contain_text("change account")


def test_a_text_that_is_not_kept_yet_is_not_thrown_away_unasked(window: Open) -> None:
    one = window("sven")
    one.go("/chamber/chamber/recipes")
    page = one.page
    page.get_by_role("button", name="Copy and change").click()
    page.fill("#text", "# hours of work\n" + page.locator("#text").input_value())
    page.locator("#versions button").first.click()
    page.get_by_role("dialog").get_by_role("button", name="No, go back").click()
    assert page.locator("#text").input_value().startswith("# hours of work")
    page.locator("#versions button").first.click()
    page.get_by_role("button", name="Throw the change away").click()
    expect(page.locator("#text")).not_to_have_value(re.compile("^# hours of work"))


def test_all_that_are_shown_are_acknowledged_and_none_that_came_meanwhile(window: Open) -> None:
    one = window("olga")
    one.go("/chamber/chamber")
    asked = """(async () => {
      const { drawAlarms } = await import('/static/js/alarmlist.js'), box = document.createElement('div'), given = [];
      const alarm = (tag, state, hidden) => ({ tag, text: tag, priority: 'high', state, from_ms: 0, by_ms: 0, hidden, cause: '', consequence: '', action: '' });
      const alarms = [...'abcdef'].map((tag) => alarm(tag, 'U', '')).concat(alarm('old', 'A', ''), alarm('gone', 'R', ''), alarm('hid', 'U', 'x'));
      const doing = { live: true, give: async (verb, args) => { given.push([verb, args.tag]); return { done: true }; } };
      drawAlarms(box, { alarms, trips: [], utc_ms: 0 }, doing);
      box.querySelector('button.main').click();
      await new Promise((resolve) => { setTimeout(resolve, 50); });
      return given; })()"""  # noqa: E501
    assert one.page.evaluate(asked) == [["acknowledge", tag] for tag in (*"abcdef", "gone")]
