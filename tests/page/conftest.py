"""A page over the record of half an hour of the demo chamber, with an account of every role."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from controller.cli.main import main
from controller.page.live.feed import Feed
from controller.page.live.places import places
from controller.page.people import accounts
from controller.page.people.book import Book
from controller.page.people.roles import ROLES
from controller.page.web.app import make_app
from controller.page.web.context import Page

PASSWORD = "quiet gravel under rain"
CODE = "abcde-fghjk"


@pytest.fixture(scope="session")
def half_hour(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a run of half an hour, its cycle not over."""
    out = tmp_path_factory.mktemp("half-hour")
    main(["cycle", "--link", "direct", "--scan", "2", "--hours", "0.5", "--out", str(out), "--no-report", "--json"])
    return out


@pytest.fixture
def data(half_hour: Path, tmp_path: Path) -> Path:
    """A copy of it that a test may change. It was written just now for as long as a test may take."""
    record = tmp_path / "record.sqlite"
    shutil.copy(half_hour / "record.sqlite", record)
    os.utime(record, (time.time() + 3600.0,) * 2)
    return tmp_path


@dataclass
class Served:
    """A page that nothing polls but the test itself; no time goes by for what it watches."""

    page: Page
    app: object

    def look(self) -> None:
        for watch in self.page.feed.watches.values():
            watch.poll()


@pytest.fixture
def served(data: Path) -> Iterator[Served]:
    works = places(data)
    book = Book(works.home / "people.sqlite")
    page = Page(Feed(works), book, CODE)
    for watch in page.feed.watches.values():
        watch._clock = lambda: 1000.0
    found = Served(page, make_app(page))
    found.look()
    yield found
    for watch in page.feed.watches.values():
        watch.close()
    page.feed.stop()
    page.desks.close()
    book.close()


@pytest.fixture
def people(served: Served) -> dict[str, str]:
    """Name by role."""
    for role in ROLES:
        assert accounts.add(served.page.book, f"person-{role}", "", role, PASSWORD) == ""
    return {role: f"person-{role}" for role in ROLES}


@pytest.fixture
def browse(served: Served) -> Callable[[], TestClient]:
    """A new browser with no cookies; the app's own start and stop are left out, the test polls."""

    def browser() -> TestClient:
        return TestClient(served.app, base_url="http://localhost", follow_redirects=False)  # type: ignore[arg-type]

    return browser


@pytest.fixture
def as_role(browse: Callable[[], TestClient], people: dict[str, str]) -> Callable[[str], TestClient]:
    """A browser in which somebody of a role has logged in, with the token of its windows as a header."""

    def logged_in(role: str) -> TestClient:
        browser = browse()
        answer = browser.post("/login", data={"name": people[role], "password": PASSWORD})
        assert answer.status_code == 303
        token = browser.get("/people" if role == "administer" else "/chamber/chamber").text.split('"csrf":"')[1]
        browser.headers["x-dewhold-token"] = token.split('"')[0]
        return browser

    return logged_in
