"""Coming in, and what stands before every request."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace

import pytest
from starlette.testclient import TestClient

from controller.errors import ConfigError
from controller.page.people import accounts, tokens
from controller.page.people.limiter import Pace
from controller.page.serve import Listen, is_loopback, require_safe
from controller.page.web.guard import WAIT_S
from tests.page.conftest import CODE, PASSWORD, Served

Browse = Callable[[], TestClient]
SETUP = {"code": CODE, "name": "Berta", "full_name": "Berta", "password": PASSWORD, "again": PASSWORD}


def test_a_stranger_is_sent_to_set_up_first_and_to_log_in_later(served: Served, browse: Browse) -> None:
    assert browse().get("/").headers["location"] == "/setup"
    accounts.add(served.page.book, "berta", "", "administer", PASSWORD)
    assert browse().get("/chamber/chamber").headers["location"] == "/login?then=/chamber/chamber"
    assert browse().get("/setup").headers["location"] == "/login"


def test_the_first_account_needs_the_printed_code_and_can_be_made_once(served: Served, browse: Browse) -> None:
    assert browse().post("/setup", data=SETUP | {"code": "wrong"}).status_code == 422
    assert not accounts.anybody(served.page.book)
    answer = browse().post("/setup", data=SETUP)
    assert answer.status_code == 303
    assert [(one.name, one.role) for one in accounts.people(served.page.book)] == [("berta", "administer")]
    browse().post("/setup", data=SETUP | {"name": "mallory"})
    assert len(accounts.people(served.page.book)) == 1


def test_a_field_left_empty_is_said_in_the_form_and_a_full_name_may_be_missing(served: Served, browse: Browse) -> None:
    """A browser sends an empty field, and what reads forms drops it."""
    for missing in ("code", "name", "password"):
        answer = browse().post("/setup", data=SETUP | {missing: "", **({"again": ""} if missing == "password" else {})})
        assert (answer.status_code, 'class="problem"' in answer.text) == (422, True)
    assert browse().post("/setup", data=SETUP | {"full_name": ""}).status_code == 303
    assert [one.name for one in accounts.people(served.page.book)] == ["berta"]
    assert browse().post("/login", data={"name": "", "password": ""}).status_code == 401


def test_guessing_the_code_is_slowed_down(served: Served, browse: Browse) -> None:
    for _ in range(6):
        browse().post("/setup", data=SETUP | {"code": "wrong"})
    assert browse().post("/setup", data=SETUP).status_code == 422
    assert not accounts.anybody(served.page.book)


def test_guessing_a_password_is_slowed_down_even_with_the_right_one(people: dict[str, str], browse: Browse) -> None:
    for _ in range(5):
        assert browse().post("/login", data={"name": people["operate"], "password": "wrong"}).status_code == 401
    answer = browse().post("/login", data={"name": people["operate"], "password": PASSWORD})
    assert answer.status_code == 429


def test_a_session_cookie_is_out_of_reach_of_scripts_and_other_sites(people: dict[str, str], browse: Browse) -> None:
    answer = browse().post("/login", data={"name": people["view"], "password": PASSWORD})
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie


@pytest.mark.parametrize("then", ["//evil.example", "https://evil.example", "/\\evil.example", "x"])
def test_nobody_is_sent_elsewhere_after_logging_in(people: dict[str, str], browse: Browse, then: str) -> None:
    answer = browse().post("/login", data={"name": people["view"], "password": PASSWORD, "then": then})
    assert answer.headers["location"] == "/"


def test_every_answer_forbids_scripts_from_elsewhere(browse: Browse) -> None:
    for path in ("/login", "/static/css/base.css", "/api/v1/chambers", "/nothing"):
        headers = browse().get(path).headers
        assert "default-src 'none'" in headers["content-security-policy"], path
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"


def test_without_an_account_or_a_token_there_is_no_data(people: dict[str, str], browse: Browse) -> None:
    assert people
    for path in ("/api/v1/chambers", "/api/v1/chambers/chamber", "/api/v1/events", "/api/v1/alive"):
        assert browse().get(path).status_code == 401, path


def test_a_token_reads_and_a_revoked_one_does_not(served: Served, browse: Browse) -> None:
    secret = tokens.give(served.page.book, "reader", "view", 1, "berta")
    browser = browse()
    browser.headers["authorization"] = f"Bearer {secret}"
    assert browser.get("/api/v1/chambers").json()[0]["id"] == "chamber"
    tokens.revoke(served.page.book, 1)
    assert browser.get("/api/v1/chambers").status_code == 401


def test_a_window_without_its_token_or_from_another_site_orders_nothing(as_role: Callable[[str], TestClient]) -> None:
    browser = as_role("operate")
    assert browser.post("/lock", json={}, headers={"x-dewhold-token": "wrong"}).status_code == 403
    assert browser.post("/lock", json={}, headers={"sec-fetch-site": "cross-site"}).status_code == 403
    assert browser.post("/lock", json={}, headers={"origin": "http://evil.example"}).status_code == 403
    assert browser.post("/lock", json={}).status_code == 200


def test_a_locked_session_looks_on_until_the_password_is_given(as_role: Callable[[str], TestClient]) -> None:
    browser = as_role("operate")
    browser.post("/lock", json={})
    assert browser.get("/api/v1/chambers").status_code == 200
    assert '"locked":true' in browser.get("/chamber/chamber").text
    assert browser.post("/unlock", data={"password": "wrong"}).status_code == 401
    assert browser.post("/unlock", data={"password": PASSWORD}).status_code == 200
    assert '"locked":false' in browser.get("/chamber/chamber").text


def test_the_page_answers_to_its_own_names_only(served: Served, browse: Browse) -> None:
    served.page.hosts = frozenset(("localhost", "127.0.0.1"))
    assert browse().get("/login", headers={"host": "evil.example"}).status_code == 421
    assert browse().get("/login", headers={"host": "localhost:8460"}).status_code == 303


def test_a_body_that_is_too_large_is_not_read(browse: Browse) -> None:
    assert browse().post("/login", content=b"x" * 300_000).status_code == 413


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.7", "::"])
def test_others_reach_the_page_only_with_tls_or_on_purpose(host: str) -> None:
    with pytest.raises(ConfigError, match="--tls-cert"):
        require_safe(Listen(host=host))
    require_safe(Listen(host=host, without_tls=True))


def test_loopback_is_what_only_this_computer_reaches() -> None:
    assert all(map(is_loopback, ("127.0.0.1", "127.9.9.9", "::1", "localhost")))
    assert not any(map(is_loopback, ("0.0.0.0", "::", "example.org", "10.0.0.1")))


def test_who_asks_too_often_is_answered_late_and_others_at_once(
    served: Served, browse: Browse, monkeypatch: pytest.MonkeyPatch
) -> None:
    waited_s: list[float] = []

    async def wait(seconds: float) -> None:
        waited_s.append(seconds)

    monkeypatch.setattr("controller.page.web.guard.asyncio", SimpleNamespace(sleep=wait))
    served.page.pace = Pace(3.0, 0.001)
    greedy, other = browse(), browse()
    greedy.headers["authorization"] = "Bearer greedy"
    for _ in range(3):
        greedy.get("/api/v1/alive")
    assert waited_s == []
    assert greedy.get("/api/v1/alive").status_code == 429
    assert waited_s == [WAIT_S]
    assert other.get("/api/v1/alive").status_code == 401
    assert waited_s == [WAIT_S]
