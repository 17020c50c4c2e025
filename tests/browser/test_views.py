"""Every view in light and dark, wide and narrow, English and German: nothing runs over, nobody is kept out, no word
of another server; and what a picture does when nothing comes any more."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import expect

from controller.page.people import accounts
from controller.page.people.book import Book
from tests.browser.conftest import PASSWORD, Stage, Window

Open = Callable[..., Window]
CHAMBER = "/chamber/one"
# Cards that are wider inside than outside, texts that leave their card, and a name and its value that overprint.
RUNS_OUT = """(() => {
  const box = (node) => { const range = document.createRange(); range.selectNodeContents(node); return range.getBoundingClientRect(); };
  const free = (node) => node.offsetParent && !node.closest('.scroll, #plan');
  const wide = [...document.querySelectorAll('.sheet, .alarm')].filter((one) => free(one) && one.scrollWidth > one.clientWidth);
  const texts = [...document.querySelectorAll('.sheet dt, .sheet dd, .sheet td, .sheet th, .alarm dd')].filter(free);
  const out = texts.filter((one) => { const card = one.closest('.sheet, .alarm').getBoundingClientRect(), own = box(one); return own.width && (own.right > card.right - 1 || own.left < card.left); });
  const over = texts.filter((one) => { const next = one.nextElementSibling; if (!next) return false; const a = box(one), b = box(next); return b.width && a.right > b.left + 1 && b.right > a.left + 1 && a.bottom > b.top + 3 && b.bottom > a.top + 3; });
  return [...wide, ...out, ...over].map((one) => one.textContent.slice(0, 60));
})()"""  # noqa: E501
VIEWS = ("", "/trends", "/alarms", "/shift", "/records", "/recipes")


@pytest.fixture(scope="module")
def stage(stage: Stage) -> Iterator[Stage]:
    """Two chambers: the one that runs, and one that has no record yet."""
    site = stage.data.parent / "site.toml"
    site.write_text(
        'name = "two"\n[[line]]\nname = "line 1"\n[[line.chamber]]\nname = "one"\ndata = "data"\n'
        '[[line.chamber]]\nname = "two"\ndata = "nothing-yet"\n',
        encoding="utf-8",
    )
    book = Book(stage.data.parent / "page" / "people.sqlite")
    for name, role in (("enno", "engineer"), ("berta", "administer")):
        assert accounts.add(book, name, "", role, PASSWORD) == ""
    book.close()
    page = stage.processes.start("page", "--data", str(stage.data.parent), "--site", str(site), "--port", "0")
    assert page.stdout is not None
    address = page.stdout.readline().split()[-1].rstrip("/")
    yield Stage(address, "", stage.data, stage.processes, page)


@pytest.mark.parametrize(
    ("width", "height", "scheme", "locale"),
    [
        (1440, 900, "light", "en-GB"), (820, 1180, "dark", "de-DE"), (390, 844, "light", "de-DE"),
        (390, 844, "dark", "en-GB"), (1280, 800, "dark", "de-DE"), (1920, 1080, "light", "en-GB"),
        (1366, 768, "light", "de-DE"), (1366, 768, "dark", "en-GB"),
    ],
)  # fmt: skip
def test_every_view_fits_and_keeps_nobody_out(
    window: Open, width: int, height: int, scheme: str, locale: str
) -> None:
    one = window("enno", width=width, height=height, color_scheme=scheme, locale=locale)
    for view in VIEWS:
        one.go(CHAMBER + view)
        one.page.wait_for_load_state("load")
        one.page.wait_for_timeout(1500)
        name = f"{(view or '/now')[1:]}-{width}-{scheme}-{locale[:2]}"
        one.shoot(name)
        assert one.page.evaluate("document.documentElement.scrollWidth <= innerWidth"), f"{name} runs over"
        assert one.page.evaluate(RUNS_OUT) == [], name
        assert one.barriers() == [], name
    one.go("/")
    expect(one.page.locator("#lanes a")).to_have_count(2)
    one.shoot(f"site-{width}-{scheme}-{locale[:2]}")
    assert one.barriers() == []
    assert one.wrong == []


@pytest.mark.parametrize(("width", "locale"), [(390, "en-GB"), (390, "de-DE"), (1366, "en-GB"), (1366, "de-DE")])
def test_the_check_of_the_cards_sees_what_runs_out(window: Open, width: int, locale: str) -> None:
    one = window("enno", width=width, locale=locale)
    one.go(CHAMBER)
    value = one.page.locator("#detail dd").last
    expect(value).to_be_visible()
    assert one.page.evaluate(RUNS_OUT) == []
    spoil = "(one => { one.style.whiteSpace = 'nowrap'; one.textContent = 'm'.repeat(90); })"
    assert one.page.evaluate(f"{spoil}(document.querySelector('#detail dd')), {RUNS_OUT}") != []


@pytest.mark.parametrize(
    ("call", "shown"),
    [
        ("decimals(0.25)", 2), ("decimals(2.5)", 1), ("decimals(0.1)", 1), ("decimals(5)", 0), ("decimals(0.05)", 2),
        ("plain(-0.2, 0)", "0"), ("plain(-0.04, 1)", "0.0"), ("plain(-0.06, 1)", "-0.1"),
        ("wholeShares([33.5, 33.5, 33])", [34, 33, 33]), ("wholeShares([100, 0, 0])", [100, 0, 0]),
        ("wholeShares([45.45, 45.45, 9.1])", [46, 45, 9]),
    ],
)  # fmt: skip
def test_figures_are_neither_rounded_apart_nor_shown_as_minus_zero(window: Open, call: str, shown: object) -> None:
    one = window("enno")
    one.go(CHAMBER)
    assert one.page.evaluate(f"import('/static/js/format.js').then(format => format.{call})") == shown


END = "import('/static/js/answers.js').then(a => a.end({...{utc_ms: 9e12, phases: []}, ...%s}).textContent)"


@pytest.mark.parametrize(
    ("now", "words"),
    [
        ("{ready_ms: 8e12, ready_low_ms: 7e12, ready_high_ms: 9.1e12, product: {ready_share: 1}}", "ready since about"),
        ("{ready_ms: 9.1e12, product: {ready_share: 1}}", "product is ready"),
        ("{ready_ms: 9.1e12, product: {ready_share: 0.999}}", "product ready about"),
    ],
)
def test_what_is_ready_is_not_still_foretold(window: Open, now: str, words: str) -> None:
    one = window("enno")
    one.go(CHAMBER)
    assert words in one.page.evaluate(END % now)


def test_an_alarm_cannot_be_acknowledged_at_a_dead_controller(window: Open) -> None:
    one = window("enno")
    one.go(CHAMBER)
    asked = """(async () => {
      const { drawAlarms } = await import('/static/js/alarmlist.js'), box = document.createElement('div');
      const alarm = { tag: 'x', text: 'x', priority: 'high', state: 'U', from_ms: 0, by_ms: 0, hidden: '', cause: '', consequence: '', action: '' };
      return [true, false].map(live => { drawAlarms(box, { alarms: [alarm], trips: [], utc_ms: 0 }, { live });
        return [...box.querySelectorAll('button')].map(one => one.disabled); }); })()"""  # noqa: E501
    live, dead = one.page.evaluate(asked)
    assert len(live) == 3
    assert live == [False] * 3
    assert dead == [True] * 3


def test_the_chamber_without_a_picture_comes_first_and_says_why(window: Open) -> None:
    one = window("enno")
    one.go("/")
    first = one.page.locator("#lanes a").first
    expect(first).to_contain_text("two")
    expect(first).to_contain_text("Not live")
    expect(first).to_contain_text("no record yet")
    expect(one.page.locator("#answers")).to_contain_text("1 without a live picture")
    assert one.wrong == []


@pytest.mark.parametrize(("locale", "words"), [("en-GB", "no record yet"), ("de-DE", "keine Aufzeichnung")])
def test_a_chamber_without_a_record_says_what_to_do_and_shows_nothing_empty(
    window: Open, locale: str, words: str
) -> None:
    one = window("enno", locale=locale)
    for view in VIEWS:
        one.go("/chamber/two" + view)
        expect(one.page.locator("main")).to_contain_text(words)
        assert one.page.locator(".picture:visible").count() == 0 or view == "/alarms"
        text = one.page.locator("main").inner_text()
        assert "null" not in text
        assert not any(gap in text for gap in ("for .", "seit .", "NaN", "Invalid Date"))


def test_everything_can_be_reached_by_keyboard(window: Open) -> None:
    """From the skip link to the dialog and back, without a mouse."""
    one = window("enno")
    one.go(CHAMBER)
    expect(one.page.locator("#buttons button").first).to_be_visible()
    one.page.keyboard.press("Tab")
    assert one.page.evaluate("document.activeElement.className") == "skip"
    reached = set()
    for _ in range(60):
        one.page.keyboard.press("Tab")
        reached.add(one.page.evaluate("document.activeElement.dataset.verb || document.activeElement.id"))
    assert "start" in reached
    assert "lock" in reached
    one.page.locator("[data-verb=start]").focus()
    one.page.keyboard.press("Enter")
    expect(one.page.locator("#start")).to_be_visible()
    one.page.keyboard.press("Escape")
    expect(one.page.locator("#start")).to_be_hidden()


def test_the_api_is_documented_without_another_server(window: Open) -> None:
    one = window("enno")
    one.go("/api")
    assert one.page.title()
    expect(one.page.locator("#api")).to_contain_text("/api/v1/chambers/{chamber}/commands", timeout=20_000)
    one.shoot("api")
    assert one.wrong == []


def test_touch_targets_are_large(window: Open) -> None:
    """Orders are at least 44 px high and wide, everything else that is pressed at least 24 (WCAG 2.2, 2.5.8)."""
    one = window("enno", width=820, height=1180)
    one.go(CHAMBER)
    expect(one.page.locator("#buttons button").first).to_be_visible()
    sizes = one.page.evaluate(
        "[...document.querySelectorAll('button, a:not(.skip), input, select, summary')].filter(e => e.offsetParent)"
        ".map(e => [e, e.getBoundingClientRect()])"
        ".map(([e, b]) => [e.closest('#buttons') ? 44 : 24, b.width, b.height, e.outerHTML.slice(0, 60)])"
    )
    assert [one for one in sizes if one[1] < one[0] or one[2] < one[0]] == []


def test_a_picture_greys_when_the_page_is_gone(stage: Stage, window: Open) -> None:
    """Last, for it ends the page."""
    one = window("enno")
    one.go(CHAMBER)
    expect(one.page.locator("#answers")).to_contain_text("Live")
    assert one.page.locator(".picture.stale").count() == 0
    list_ = window("enno")
    list_.go("/")
    expect(list_.page.locator("#answers")).to_contain_text("Partly live", timeout=20_000)
    stage.page.kill()
    expect(one.page.locator("#answers")).to_contain_text("Not live", timeout=30_000)
    assert "All well" not in one.page.locator("#answers").inner_text(), "what is not live is not well"
    expect(one.page.locator(".picture.stale").first).to_be_visible()
    expect(one.page.locator("#buttons button").first).to_be_disabled()
    expect(one.page.locator("#outcome")).to_contain_text("The controller is silent")
    one.shoot("not-live")
    answers = list_.page.locator("#answers > .sheet")
    for place in (0, 2):
        expect(answers.nth(place)).to_contain_text("Not live", timeout=30_000)
    expect(list_.page.locator("#lanes .stale")).to_have_count(1)
    why = list_.page.locator("#lanes .stale .why")
    expect(why).to_contain_text("does not reach the page")
    assert why.evaluate("e => getComputedStyle(e).opacity") == "1", "why it is crossed stays legible"
    list_.shoot("site-not-live")
