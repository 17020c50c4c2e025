"""What people read off the page: times with a date and a zone, round ticks, units inside sentences, letters that keep
their size on a phone, paper, and fingers."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import expect

from controller.page.people import accounts
from controller.page.people.book import Book
from tests.browser.conftest import PASSWORD, Stage, Window

Open = Callable[..., Window]
CHAMBER = "/chamber/chamber"


@pytest.fixture(scope="module")
def stage(stage: Stage) -> Iterator[Stage]:
    """The idle chamber of the stage with an engineer."""
    book = Book(stage.data / "page" / "people.sqlite")
    assert accounts.add(book, "enno", "", "engineer", PASSWORD) == ""
    book.close()
    yield stage


NOW = "Date.UTC(2026, 2, 4, 12, 0)"


@pytest.mark.parametrize(
    ("call", "shown"),
    [
        (f"clock({NOW} - 3600e3, {NOW})", "12:00"),
        (f"clock({NOW} - 2 * 86400e3, {NOW})", "Mon 13:00"),
        (f"clock({NOW} - 20 * 86400e3, {NOW})", "12 Feb, 13:00"),
        (f"clock({NOW} - 400 * 86400e3, {NOW})", "28 Jan 2025, 13:00"),
        (f"zone({NOW})", "Europe/Berlin (CET)"),
        (f"tickWords(ticks({NOW} + 7 * 60e3, {NOW} + 14 * 3600e3, 4)).join()", "16:00,20:00,Thu 00:00"),
        (
            "tickWords(ticks(Date.UTC(2026, 2, 28, 20), Date.UTC(2026, 2, 29, 20), 4)).join()",
            "29 Mar, 00:00,06:00,12:00,18:00",
        ),
        (f"tickWords(ticks({NOW}, {NOW} + 30 * 86400e3, 5)).join()", "11 Mar,18 Mar,25 Mar,1 Apr"),
    ],
)
def test_a_time_says_which_day_it_is_and_a_tick_is_a_round_one(window: Open, call: str, shown: str) -> None:
    one = window("enno")
    one.go(CHAMBER)
    names = "const { clock, ticks, tickWords, zone } = f"
    asked = f"import('/static/js/format.js').then(f => {{ f.setNow({NOW}); {names}; return {call}; }})"
    assert one.page.evaluate(asked) == shown
    expect(one.page.locator("#zone")).to_contain_text("All times: Europe/Berlin (C")


@pytest.mark.parametrize(
    ("units", "text", "shown"),
    [
        ("si", "hold: begins at 28.0 to 40.0 degC", "hold: begins at 28.0 to 40.0 °C"),
        ("us", "hold: begins at 28.0 to 40.0 degC", "hold: begins at 82.4 to 104.0 °F"),
        ("us", "product core 45.0 > 40.0 degC", "product core 113.0 > 104.0 °F"),
        ("us", "settled air up to 2.0 K off > 1.0 K", "settled air up to 3.6 Δ°F off > 1.8 Δ°F"),
        ("us", "recipe gentle, 100 t, mix demo-60 at 20 degC", "recipe gentle, 110 sh tn, mix demo-60 at 68 °F"),
        ("us", "fan 9 kW, 24 h, 95.5 %", "fan 9 kW, 24 h, 95.5 %"),
    ],
)
def test_a_sentence_of_the_record_has_the_units_of_the_window(window: Open, units: str, text: str, shown: str) -> None:
    one = window("enno")
    one.go(f"/units/{units}?then={CHAMBER}")
    assert one.page.evaluate(f"import('/static/js/core.js').then(core => core.saidIn({text!r}))") == shown


def test_letters_in_pictures_keep_their_size_on_a_phone(window: Open) -> None:
    """A picture that is squeezed into a narrow window squeezes its words to nothing; ours are drawn for its width."""
    one = window("enno", width=390, height=844)
    one.go(CHAMBER)
    page = one.page
    page.locator("#buttons [data-verb=start]").click()
    expect(page.locator("#start-go")).to_be_enabled(timeout=60_000)
    scales = page.evaluate(
        "[...document.querySelectorAll('svg.planline, svg.face, svg.ladder')].filter(e => e.clientWidth)"
        ".map(e => [e.getAttribute('class'), Math.min(e.clientWidth / e.viewBox.baseVal.width, e.clientHeight / e.viewBox.baseVal.height)])"  # noqa: E501
    )
    assert {name for name, _scale in scales} >= {"planline", "face", "ladder"}
    assert [one for one in scales if one[1] < 0.85] == []


def test_paper_is_dark_on_white_whatever_the_window_shows(window: Open) -> None:
    one = window("enno", color_scheme="dark")
    one.go(CHAMBER + "/records")
    ink = "[document.body, document.querySelector('.sheet')].map(e => [getComputedStyle(e).color, getComputedStyle(e).backgroundColor])"  # noqa: E501
    assert one.page.evaluate(ink)[0][0] != "rgb(0, 0, 0)"
    one.page.emulate_media(media="print", color_scheme="dark")
    assert one.page.evaluate(ink)[0][0] == "rgb(0, 0, 0)"
    assert one.page.evaluate(ink)[1][1] == "rgb(255, 255, 255)"
    assert one.page.locator(".top").is_hidden()


@pytest.mark.parametrize("view", ["", "/trends", "/alarms", "/shift", "/records", "/recipes"])
def test_what_is_pressed_is_as_large_as_a_finger(window: Open, view: str) -> None:
    """44 px (WCAG 2.2, 2.5.5) for all that is pressed; a box to tick counts with its label."""
    one = window("enno", width=820, height=1180)
    one.go(CHAMBER + view)
    one.page.wait_for_timeout(1500)
    small = one.page.evaluate(
        "[...document.querySelectorAll('button, a:not(.skip), input, select, summary')].filter(e => e.offsetParent)"
        ".map(e => e.type === 'checkbox' ? e.closest('label') : e)"
        ".map(e => [e.getBoundingClientRect(), e.outerHTML.slice(0, 70)]).filter(([b]) => b.height < 44).map(([b, html]) => [b.height, html])"  # noqa: E501
    )
    assert small == []


def test_what_is_overdue_says_so_and_time_goes_on_in_the_list(window: Open) -> None:
    one = window("enno")
    one.go(CHAMBER)
    asked = """(async () => {
      const { drawAlarms } = await import('/static/js/alarmlist.js'), box = document.createElement('div');
      const alarm = { tag: 'x', text: 'x', priority: 'high', state: 'U', from_ms: 0, by_ms: 600e3, hidden: '', cause: '', consequence: '', action: '' };
      return [300e3, 900e3].map((utc_ms) => { drawAlarms(box, { alarms: [alarm], trips: [], utc_ms }, { live: true });
        return box.querySelector('.since').textContent; }); })()"""  # noqa: E501
    soon, late = one.page.evaluate(asked)
    assert "(5 min)" in soon
    assert " by " in soon
    assert "(15 min)" in late
    assert "overdue since" in late


def test_a_legend_shows_the_newest_figure_while_nobody_points_at_a_plot(window: Open) -> None:
    one = window("enno")
    one.go(CHAMBER + "/trends")
    legend = one.page.locator(".u-legend").first
    expect(legend).to_contain_text("°C")
    expect(legend).to_contain_text("Time")
    assert "–" not in legend.inner_text()


def test_who_only_looks_on_sees_boards_without_a_form_and_without_nulls(window: Open, stage: Stage) -> None:
    book = Book(stage.data / "page" / "people.sqlite")
    accounts.add(book, "vera", "", "view", PASSWORD)
    book.close()
    one = window("vera")
    one.go(CHAMBER)
    asked = """(async () => {
      const { drawBoards } = await import('/static/js/boards.js'), box = document.createElement('div');
      const plate = { bays: 2, levels: 2, t_per_place_max: 1, mixes: ['a'] }, now = { boards: [], load_t: 0 };
      drawBoards(box, plate, now, { now, pending: new Map() }, true);
      return box.textContent; })()"""
    text = one.page.evaluate(asked)
    assert "Boards in and out" in text
    assert "null" not in text


@pytest.mark.parametrize(
    ("call", "shown"),
    [
        ("number(23.2, 1, 'MPa')", "3,365 psi"),
        ("number(0.016, 3, 'kg/m2h')", "0.0033 lb/ft²h"),
        ("number(0.62, 2, 'kg/s')", "82 lb/min"),
        ("number(31.54, 1, 'degC')", "88.8 °F"),
        ("number(0.15, 2, 'K')", "0.27 Δ°F"),
    ],
)
def test_a_figure_has_the_decimals_of_the_unit_it_is_shown_in(window: Open, call: str, shown: str) -> None:
    one = window("enno")
    one.go(f"/units/us?then={CHAMBER}")
    assert one.page.evaluate(f"import('/static/js/format.js').then(f => f.{call})") == shown


def test_focus_and_scrolling_stay_where_they_are_while_pictures_come(window: Open) -> None:
    one = window("enno", width=240, height=844)
    one.go(CHAMBER)
    page = one.page
    summary = page.locator("#probes summary")
    summary.focus()
    page.keyboard.press("Enter")
    far = "document.querySelector('#probes .scroll').scrollLeft"
    assert page.evaluate(f"({far} = 20, {far})") == 20
    page.evaluate("document.querySelector('#probes').dataset.old = 'yes'")
    expect(page.locator("#probes[data-old]")).to_have_count(0, timeout=10_000)  # it was drawn anew
    expect(summary).to_be_focused()
    assert page.evaluate("document.querySelector('#probes').open")
    assert page.evaluate(far) == 20


def test_another_language_or_unit_comes_back_to_the_same_span(window: Open) -> None:
    one = window("enno")
    one.go(CHAMBER + "/trends?tag=TY-101&from_ms=1772460000000&to_ms=1772470000000")
    expect(one.page.locator("#words")).not_to_be_empty()
    one.page.get_by_role("link", name="US").click()
    expect(one.page.locator("#words")).not_to_be_empty()
    assert "from_ms=1772460000000&to_ms=1772470000000" in one.page.url
