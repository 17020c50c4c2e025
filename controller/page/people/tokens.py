"""Tokens: how programs ask. Each has a label, a role, an end, and is shown once."""

from __future__ import annotations

from typing import NamedTuple

from controller.page.people import passwords
from controller.page.people.accounts import TOKEN_DAYS_MAX, Visitor, now_ms
from controller.page.people.book import Book
from controller.page.people.roles import ADMINISTER, ROLES

PREFIX = "dewhold_"


class Token(NamedTuple):
    """One token without its secret."""

    id: int
    label: str
    role: str
    made_by: str
    made_ms: int
    expires_ms: int
    revoked: bool


def give(book: Book, label: str, role: str, days: int, made_by: str) -> str:
    """A new token's secret; "" when label, role or days will not do. No token administers accounts."""
    label = label.strip()[:60]
    if not label or role not in ROLES or role == ADMINISTER or not 1 <= days <= TOKEN_DAYS_MAX:
        return ""
    secret = PREFIX + passwords.new_secret()
    with book.writing() as db:
        db.execute(
            "INSERT INTO tokens (secret, label, role, made_by, made_ms, expires_ms) VALUES (?, ?, ?, ?, ?, ?)",
            (passwords.digest(secret), label, role, made_by, now_ms(), now_ms() + days * 86_400_000),
        )
    return secret


def tokens(book: Book) -> list[Token]:
    """Every token, newest first."""
    rows = book.rows(
        "SELECT id, label, role, made_by, made_ms, expires_ms, revoked FROM tokens ORDER BY id DESC"
    )
    return [Token._make((*row[:6], bool(row[6]))) for row in rows]


def revoke(book: Book, number: int) -> bool:
    """End a token; False when there is none."""
    with book.writing() as db:
        return db.execute("UPDATE tokens SET revoked = 1 WHERE id = ?", (number,)).rowcount > 0


def program_of(book: Book, secret: str) -> Visitor | None:
    """Who has this token, None when it is unknown, over or revoked."""
    rows = book.rows(
        "SELECT label, role FROM tokens WHERE secret = ? AND revoked = 0 AND expires_ms > ?",
        passwords.digest(secret),
        now_ms(),
    )
    return Visitor(f"token {rows[0][0]}", rows[0][1]) if rows else None
