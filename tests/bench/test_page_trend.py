"""Thirty days of one column, from the record to the browser's screen, and the first paint of a view."""

from __future__ import annotations

import math
import os
import re
import select
import sqlite3
import statistics
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from struct import Struct
from typing import Any

import pytest

from controller.page.live.feed import Feed
from controller.page.live.places import places
from controller.page.people import accounts
from controller.page.people.book import Book
from controller.store.glance import Glance
from tests.browser.conftest import ARGUMENTS, CHROMIUM, PASSWORD
from tests.e2e.conftest import Processes

pytestmark = [pytest.mark.bench, pytest.mark.slow]
DAYS, MINUTE_MS = 30, 60_000
SERVER_MS, DRAWN_MS, PAINT_MS = 100.0, 150.0, 1000.0


@pytest.fixture(scope="module")
def month(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The record of a short run, its last minute repeated backwards over thirty days with a daily wave in it."""
    from controller.cli.main import main

    out = tmp_path_factory.mktemp("month")
    main(["cycle", "--link", "direct", "--scan", "2", "--hours", "0.2", "--out", str(out), "--no-report", "--json"])
    with sqlite3.connect(out / "record.sqlite") as db:
        first, cycle, scans, utc_ms, columns = db.execute(
            "SELECT first_scan, cycle, scans, utc_ms, columns FROM minutes ORDER BY first_scan LIMIT 1"
        ).fetchone()
        shape = Struct(">" + "fffB" * (len(columns) // 13))
        cells = list(shape.unpack(columns))
        rows = []
        for minute in range(1, DAYS * 1440):
            wave = 5.0 * math.sin(minute / 1440.0 * math.tau)
            cells[0::4] = [20.0 + wave] * (len(cells) // 4)
            rows.append((first - scans * minute, cycle, scans, utc_ms - MINUTE_MS * minute, shape.pack(*cells)))
        db.executemany("INSERT INTO minutes VALUES (?, ?, ?, ?, ?)", rows)
    db.close()
    return out


def tell(text: str) -> None:
    """A figure, seen with -s."""
    sys.stderr.write(f"\n{text}\n")


def test_thirty_days_are_answered_quickly_also_before_the_coarse_copies_are_made(month: Path) -> None:
    feed = Feed(places(month))
    trends = feed.trends["chamber"]
    glance = Glance(month / "record.sqlite")
    to_ms = glance.lines(limit=1)[0].utc_ms
    from_ms = to_ms - DAYS * 86_400_000

    def best() -> float:
        taken = []
        for _ in range(5):
            began = time.perf_counter()
            found = trends.read("TY-101", from_ms, to_ms, 900)
            taken.append(1000.0 * (time.perf_counter() - began))
        assert len(found["utc_ms"]) > 600
        return statistics.median(taken)

    cold = best()
    began = time.perf_counter()
    while trends.roll(glance):
        pass
    rolled_s = time.perf_counter() - began
    warm = best()
    glance.close()
    feed.stop()
    tell(f"30 days of one column: {warm:.0f} ms, {cold:.0f} ms before the copies, which take {rolled_s:.1f} s once")
    assert warm < SERVER_MS


@pytest.fixture
def served(month: Path, tmp_path: Path) -> Iterator[str]:
    processes = Processes(tmp_path)
    book = Book(month / "page" / "people.sqlite")
    accounts.add(book, "vera", "", "view", PASSWORD)
    book.close()
    page = processes.start("page", "--data", str(month), "--port", "0")
    assert page.stdout is not None
    assert select.select([page.stdout], [], [], 60.0)[0]
    found = re.search(r"http\S+", page.stdout.readline())
    assert found is not None
    select.select([], [], [], 8.0)  # the copies are made
    yield found[0].rstrip("/")
    processes.end()


def test_a_view_is_painted_and_a_month_drawn_quickly(month: Path, served: str) -> None:
    playwright: Any = pytest.importorskip("playwright.sync_api")
    if not CHROMIUM.exists():
        pytest.skip("no /usr/bin/chromium: as root, apt-get install chromium")
    os.environ.pop("DISPLAY", None)
    with playwright.sync_playwright() as runner:
        browser = runner.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        page = browser.new_page()
        page.goto(served + "/login")
        page.fill("#name", "vera")
        page.fill("#password", PASSWORD)
        page.click("button[type=submit]")
        page.wait_for_url(re.compile("/chamber/"))
        page.goto(served + "/chamber/chamber")
        page.wait_for_selector("#rack svg")
        paint = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
        page.goto(served + "/chamber/chamber/trends?tag=TY-101")
        page.wait_for_selector("#spans button")
        drawn = []
        for _ in range(5):
            page.evaluate("delete document.body.dataset.drawnMs")
            page.locator("#spans button").nth(4).click()
            page.wait_for_selector("body[data-drawn-ms]")
            drawn.append(float(page.evaluate("document.body.dataset.drawnMs")))
            page.locator("#spans button").nth(0).click()
            page.wait_for_timeout(300)
        browser.close()
    tell(f"first paint {paint:.0f} ms; 30 days asked and drawn in {statistics.median(drawn):.0f} ms")
    assert paint < PAINT_MS
    assert statistics.median(drawn) < DRAWN_MS
