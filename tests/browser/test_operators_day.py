"""A whole day at the page: set-up, accounts, a recipe, a cycle with trouble in it, hand-over, report."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from playwright.sync_api import expect

from controller.store.desk import Desk
from controller.store.reader import Reader
from tests.browser.conftest import DAY, PASSWORD, Stage, Window

Open = Callable[..., Window]


def order(window: Window, verb: str) -> None:
    """Press a button of the orders and wait until its outcome is told."""
    window.page.locator(f"#buttons [data-verb={verb}]").click()
    expect(window.page.locator("#outcome")).to_contain_text("done", timeout=20_000)


def running_state(window: Window, words: str) -> None:
    expect(window.page.locator("#answers")).to_contain_text(words, timeout=20_000)


def test_a_day(stage: Stage, window: Open) -> None:
    boss = window()
    set_up(boss, stage)
    recipe_of_the_day(window("enno"), window("sven"))
    olga = window("olga")
    start(olga, stage)
    trouble(olga, window("sven"), window("enno"), stage)
    hand_over(olga)
    finish(olga, stage)
    report(olga)
    trail(boss)
    for one in (boss, olga):
        assert one.wrong == []
    with Reader(stage.data / "record.sqlite") as reader:  # the page never stood in the way of control
        assert [row.text for row in reader.journal() if row.tag == "DESK"] == []


def set_up(boss: Window, stage: Stage) -> None:
    """The first account with the printed code, then one for everybody."""
    boss.page.goto(stage.setup)
    boss.page.fill("#name", "berta")
    boss.page.fill("#full_name", "Berta")
    boss.page.fill("#password", PASSWORD)
    boss.page.fill("#again", PASSWORD)
    boss.shoot("setup")
    assert boss.barriers() == []
    boss.page.click("button[type=submit]")
    boss.page.wait_for_url(re.compile("/people"))
    for name, role in (("olga", "operate"), ("sven", "supervise"), ("enno", "engineer"), ("vera", "view")):
        boss.page.fill("#add-name", name)
        boss.page.select_option("#add-role", role)
        boss.page.fill("#add-password", PASSWORD)
        boss.page.click("#add button[type=submit]")
        expect(boss.page.locator("#people")).to_contain_text(name)
    boss.shoot("people")
    assert boss.barriers() == []


def recipe_of_the_day(writer: Window, reader: Window) -> None:
    """Written by one, with a mistake first; approved by another."""
    writer.go("/chamber/chamber/recipes")
    page = writer.page
    page.get_by_role("button", name="Copy and change").click()
    page.fill("#text", DAY.replace("ceiling_degC = 30.0", "ceiling_degC = 99.0"))
    expect(page.locator("#problems")).to_contain_text("ceiling_degC", timeout=20_000)
    writer.shoot("recipe-wrong")
    page.fill("#text", DAY)
    expect(page.locator("#problems")).to_contain_text("right for this chamber", timeout=20_000)
    expect(page.locator("#plan svg.planline")).to_be_visible(timeout=20_000)
    page.fill("#why", "a short day")
    page.get_by_role("button", name="Keep as a new version").click()
    expect(page.locator("#said-here")).to_contain_text("draft")
    assert writer.barriers() == []
    reader.go("/chamber/chamber/recipes")
    reader.page.get_by_role("button", name=re.compile("short-day")).click()
    reader.page.get_by_role("button", name="Approve", exact=True).click()
    expect(reader.page.locator("#said-here")).to_contain_text("Approved", timeout=20_000)
    reader.shoot("recipes")


def start(olga: Window, stage: Stage) -> None:
    """What is in the chamber and when it is wanted; the forecasts; the start, pressed twice."""
    page = olga.page
    running_state(olga, "idle")
    olga.shoot("idle")
    page.locator("#buttons [data-verb=start]").click()
    page.fill("#start-load", "110")
    card = page.get_by_role("button", name=re.compile("short-day"))
    card.click(timeout=60_000)
    expect(page.locator("#start-chosen")).to_contain_text("short-day", timeout=60_000)
    expect(page.locator("#start-go")).to_be_enabled(timeout=60_000)
    olga.shoot("start")
    assert olga.barriers() == []
    page.locator("#start-go").dblclick()
    expect(page.locator("#start")).to_be_hidden(timeout=30_000)
    running_state(olga, "rest")
    with Reader(stage.data / "record.sqlite") as reader:
        given = [row.data for row in reader.journal(kind="command") if row.data["verb"] == "start"]
        assert [(row["who"], row["outcome"]) for row in given] == [("olga", "done")]
        assert reader.header().facts["recipe"] == "short-day"
        assert reader.header().facts["load_t"] == 110.0


def trouble(olga: Window, sven: Window, enno: Window, stage: Stage) -> None:
    """The clock is stopped and an alarm says so: seen, acknowledged, hidden with a reason; then on."""
    page = olga.page
    order(olga, "hold")
    running_state(olga, "clock stopped")
    alarm = page.locator("[data-tag=clock-stopped]")
    expect(alarm).to_be_visible(timeout=20_000)
    olga.shoot("alarm")
    assert olga.barriers() == []
    alarm.get_by_role("button", name="Acknowledge", exact=True).click()
    expect(alarm).to_contain_text("active, acknowledged", timeout=20_000)
    sven.go("/chamber/chamber/alarms")
    sven.page.locator("[data-tag=clock-stopped]").get_by_role("button", name="Hide for a while").click()
    sven.page.get_by_role("dialog").get_by_role("button", name="Hide for a while").click()
    expect(sven.page.get_by_role("dialog")).to_contain_text("Say why")
    sven.page.fill("#shelve-reason", "we stopped it ourselves")
    sven.page.get_by_role("dialog").get_by_role("button", name="Hide for a while").click()
    expect(sven.page.locator("[data-tag=clock-stopped]")).to_contain_text("hidden", timeout=20_000)
    sven.shoot("alarms")
    assert sven.barriers() == []
    enno.page.get_by_role("button", name="Override…").click()
    enno.page.select_option("#hand-kind", "trim")
    enno.page.fill("#hand-value", "0.5")
    enno.page.fill("#hand-reason", "a trial")
    enno.shoot("override")
    assert enno.barriers() == []
    enno.page.get_by_role("dialog").get_by_role("button", name="Move a setpoint a little").click()
    expect(enno.page.locator("#byhand")).to_contain_text("temperature", timeout=20_000)
    order(olga, "restart")
    running_state(olga, "hold")
    with Reader(stage.data / "record.sqlite") as reader:
        done = [row.data["verb"] for row in reader.journal(kind="command") if row.data["outcome"] == "done"]
    assert done == ["start", "hold", "acknowledge", "shelve", "trim", "restart"]


def hand_over(olga: Window) -> None:
    """A note, what happened, and a session locked to looking on."""
    olga.go("/chamber/chamber/shift")
    page = olga.page
    page.fill("#note-text", "door 3 drips a little")
    page.get_by_role("button", name="Leave the note").click()
    expect(page.locator("#notes")).to_contain_text("door 3 drips")
    expect(page.locator("#lines")).to_contain_text("running → stopping the clock")
    olga.shoot("handover")
    assert olga.barriers() == []
    page.get_by_role("button", name="I have seen all this").click()
    expect(page.locator("#since")).to_contain_text("Since you left")
    page.click("#lock")
    expect(page.locator("#unlock")).to_be_visible()
    olga.go("/chamber/chamber")
    expect(page.locator("#buttons button").first).to_be_disabled()
    expect(page.locator("#rack svg")).to_be_visible()
    olga.shoot("locked")
    page.click("#unlock")
    page.fill("#unlock-password", PASSWORD)
    page.get_by_role("dialog").get_by_role("button", name="Unlock").click()
    expect(page.locator("#lock")).to_be_visible()


def finish(olga: Window, stage: Stage) -> None:
    """The cycle comes to its end by itself and is cleared."""
    running_state(olga, "hold")
    olga.page.wait_for_timeout(2000)
    olga.shoot("running")
    assert olga.barriers() == []
    expect(olga.page.locator("#answers")).to_contain_text("complete", timeout=180_000)
    olga.shoot("complete")
    order(olga, "reset")
    running_state(olga, "idle")
    with Desk(stage.data / "desk.sqlite") as desk:
        ids = desk.rows("SELECT id FROM commands")
    assert len(ids) == len(set(ids))


def report(olga: Window) -> None:
    """The record's list, the report and the figures as a file."""
    olga.go("/chamber/chamber/records")
    page = olga.page
    expect(page.locator("#cycles")).to_contain_text("short-day")
    olga.shoot("records")
    assert olga.barriers() == []
    with page.expect_download() as got:
        page.get_by_role("link", name="As CSV").first.click()
    lines = got.value.path().read_bytes().decode().split("\r\n")
    assert lines[0].startswith('"time_utc","TY-101 [degC] mean"')
    assert len(lines) > 60
    with page.context.expect_page(timeout=120_000) as made:  # it is made now, behind everything else
        page.get_by_role("link", name="Report").first.click()
    shown: Any = made.value
    shown.wait_for_load_state()
    expect(shown.locator("body")).to_contain_text("short-day", timeout=60_000)
    assert shown.locator("svg").count() > 1


def trail(boss: Window) -> None:
    """Who did what stands there, with its outcome."""
    boss.go("/people")
    table = boss.page.locator("#trail")
    expect(table).to_contain_text("approve recipe", timeout=20_000)
    expect(table).to_contain_text("hide alarm")
    expect(table).to_contain_text("we stopped it ourselves")
    expect(boss.page.locator("#unbroken")).to_contain_text("unbroken")
    boss.shoot("trail")
