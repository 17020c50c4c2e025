"""Accounts, roles, passwords, tokens, the trail."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.page.people import accounts, audit, passwords, tokens
from controller.page.people.book import Book
from controller.page.people.limiter import FIRST_S, FREE, LONGEST_S, Limiter, Pace
from controller.page.people.roles import MAY, ROLES, VERBS, allowed, needed

GOOD = "quiet gravel under rain"


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    made = Book(tmp_path / "people.sqlite")
    yield made
    made.close()


def test_who_administers_accounts_operates_nothing() -> None:
    forbidden = [what for what in MAY if what not in ("look", "administer", "read audit")]
    assert not any(allowed("administer", what) for what in forbidden)
    assert [role for role in ROLES if allowed(role, "administer")] == ["administer"]


def test_an_unknown_order_needs_the_narrowest_right() -> None:
    assert needed("force") == "tune"
    assert set(VERBS.values()) <= set(MAY)


def test_the_file_of_accounts_is_readable_by_its_owner_only(book: Book) -> None:
    assert book.path.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("password", ["short", "a" * 20, "olga and her gravel", "x" * 129])
def test_a_weak_password_is_refused(book: Book, password: str) -> None:
    assert accounts.add(book, "olga", "", "operate", password).startswith("password.")
    assert not accounts.anybody(book)


def test_nothing_that_was_typed_can_be_read_back(book: Book) -> None:
    accounts.add(book, "olga", "", "operate", GOOD)
    secret = accounts.log_in(book, "olga", GOOD, "here")
    assert secret is not None
    kept = book.path.read_bytes() + book.path.with_name("people.sqlite-wal").read_bytes()
    assert GOOD.encode() not in kept
    assert secret.encode() not in kept


def test_a_wrong_password_an_unknown_name_and_a_disabled_account_stay_out(book: Book) -> None:
    accounts.add(book, "olga", "", "operate", GOOD)
    accounts.add(book, "gone", "", "operate", GOOD)
    accounts.change(book, "gone", disabled=True)
    assert accounts.log_in(book, "olga", GOOD + "!", "") is None
    assert accounts.log_in(book, "nobody", GOOD, "") is None
    assert accounts.log_in(book, "gone", GOOD, "") is None
    assert accounts.log_in(book, "Olga", GOOD, "") is not None
    assert accounts.log_in(book, "my secret phrase", "olga", "") is None
    said = [(line.who, line.result) for line in reversed(audit.lines(book)) if line.what == "log in"]
    assert said == [
        ("olga", "refused"), ("(unknown name)", "refused"), ("gone", "refused"), ("olga", "done"),
        ("(unknown name)", "refused"),
    ], "nothing that was typed in the wrong field is kept"  # fmt: skip


def test_the_last_account_that_administers_stays(book: Book) -> None:
    accounts.add(book, "berta", "", "administer", GOOD)
    assert accounts.change(book, "berta", role="view") == "people.last"
    assert accounts.change(book, "berta", disabled=True) == "people.last"
    accounts.add(book, "anna", "", "administer", GOOD)
    assert accounts.change(book, "berta", role="view") == ""


def test_a_changed_account_loses_its_sessions(book: Book) -> None:
    accounts.add(book, "olga", "", "operate", GOOD)
    secret = accounts.log_in(book, "olga", GOOD, "")
    assert secret is not None
    assert accounts.visitor_of(book, secret) is not None
    accounts.change(book, "olga", role="view")
    assert accounts.visitor_of(book, secret) is None


def test_a_session_that_nobody_uses_locks_and_an_old_one_ends(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    accounts.add(book, "olga", "", "operate", GOOD)
    secret = accounts.log_in(book, "olga", GOOD, "")
    assert secret is not None
    began = accounts.now_ms()
    monkeypatch.setattr(accounts, "now_ms", lambda: began + round(accounts.LOCK_MIN * 60_000) + 1000)
    locked = accounts.visitor_of(book, secret)
    assert locked is not None
    assert locked.locked
    monkeypatch.setattr(accounts, "now_ms", lambda: began + round(accounts.SESSION_H_MAX * 3_600_000) + 1000)
    assert accounts.visitor_of(book, secret) is None


def test_tokens_end_can_be_revoked_and_never_administer(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    assert tokens.give(book, "x", "administer", 1, "berta") == ""
    assert tokens.give(book, "x", "view", 0, "berta") == ""
    secret = tokens.give(book, "line 1", "view", 2, "berta")
    found = tokens.program_of(book, secret)
    assert found is not None
    assert (found.name, found.role) == ("token line 1", "view")
    later = accounts.now_ms() + 3 * 86_400_000
    monkeypatch.setattr(tokens, "now_ms", lambda: later)
    assert tokens.program_of(book, secret) is None
    monkeypatch.undo()
    assert tokens.revoke(book, tokens.tokens(book)[0].id)
    assert tokens.program_of(book, secret) is None


def test_the_trail_tells_when_a_line_was_changed_or_taken_out(book: Book) -> None:
    for number in range(5):
        audit.note(book, "olga", "operate", "here", "start", str(number), old="a", new="b")
    assert audit.unbroken(book)
    with book.writing() as db:
        db.execute("UPDATE audit SET new = 'c' WHERE id = 3")
    assert not audit.unbroken(book)
    with book.writing() as db:
        db.execute("UPDATE audit SET new = 'b' WHERE id = 3")
        assert audit.unbroken(book)
        db.execute("DELETE FROM audit WHERE id = 3")
    assert not audit.unbroken(book)


def test_each_further_failure_costs_a_longer_wait_and_a_success_forgives() -> None:
    now = 0.0
    limiter = Limiter(clock=lambda: now)
    for _ in range(FREE):
        assert limiter.wait_s("olga") == 0.0
        limiter.failed("olga")
    assert limiter.wait_s("olga") == FIRST_S
    limiter.failed("olga")
    assert limiter.wait_s("olga") == 2 * FIRST_S
    for _ in range(20):
        limiter.failed("olga")
    assert limiter.wait_s("olga", "other") == LONGEST_S
    now = LONGEST_S
    assert limiter.wait_s("olga") == 0.0
    limiter.passed("olga")
    now = 0.0
    assert limiter.wait_s("olga") == 0.0


def test_a_flood_of_one_sender_is_cut_short_and_nobody_else_waits() -> None:
    now = 0.0
    pace = Pace(at_once=3.0, per_s=2.0, clock=lambda: now)
    assert [pace.takes("olga") for _ in range(5)] == [True, True, True, False, False]
    assert pace.takes("sven")
    now = 1.0
    assert [pace.takes("olga") for _ in range(3)] == [True, True, False]


def test_a_set_up_code_has_no_letters_that_look_alike() -> None:
    codes = {passwords.setup_code() for _ in range(50)}
    assert len(codes) == 50
    assert not set("".join(codes)) & set("ilo01")
