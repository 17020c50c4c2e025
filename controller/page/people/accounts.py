"""Accounts, sessions and tokens."""

from __future__ import annotations

import time
from dataclasses import dataclass

from controller.page.people import audit, passwords
from controller.page.people.book import Book
from controller.page.people.roles import ADMINISTER, ROLES

SESSION_H_MAX = 12.0  # a shift and its hand-over; then log in again
LOCK_MIN = 15.0  # without a hand on it a session only looks on
TOKEN_DAYS_MAX = 400


@dataclass(frozen=True, slots=True)
class Person:
    """One account, without its password."""

    name: str
    full_name: str
    role: str
    disabled: bool
    changed_ms: int
    language: str


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who asks: a person with a session, or a program with a token. csrf: "" for a token."""

    name: str
    role: str
    full_name: str = ""
    csrf: str = ""
    locked: bool = False
    secret: str = ""
    language: str = ""


def now_ms() -> int:
    """UTC."""
    return time.time_ns() // 1_000_000


def anybody(book: Book) -> bool:
    """Whether there is an account at all; without one the page asks to be set up."""
    return bool(book.rows("SELECT 1 FROM people LIMIT 1"))


def people(book: Book) -> list[Person]:
    """Every account, by name."""
    rows = book.rows("SELECT name, full_name, role, disabled, changed_ms, language FROM people ORDER BY name")
    return [Person(name, full, role, bool(off), changed, language) for name, full, role, off, changed, language in rows]


def add(book: Book, name: str, full_name: str, role: str, password: str) -> str:
    """Make an account; key of the text that says why not, "" when made."""
    name = name.strip().lower()
    if not name or len(name) > 40 or not all(letter.isalnum() or letter in "-._" for letter in name):
        return "people.name"
    if role not in ROLES:
        return "people.role"
    if weak := passwords.objection(password, name):
        return weak
    kept = passwords.hashed(password)
    with book.writing() as db:
        if db.execute("SELECT 1 FROM people WHERE name = ?", (name,)).fetchone():
            return "people.taken"
        db.execute(
            "INSERT INTO people (name, full_name, role, password, made_ms, changed_ms) VALUES (?, ?, ?, ?, ?, ?)",
            (name, full_name.strip()[:80], role, kept, now_ms(), now_ms()),
        )
    return ""


def change(book: Book, name: str, *, role: str | None = None, disabled: bool | None = None, password: str = "") -> str:
    """Change an account; its sessions end. Never the last one that may administer. "" when done, else a text key."""
    known = {person.name: person for person in people(book)}
    person = known.get(name)
    if person is None:
        return "people.unknown"
    loses = (role is not None and role != ADMINISTER) or disabled is True
    others = [one for one in known.values() if one.role == ADMINISTER and not one.disabled and one.name != name]
    if person.role == ADMINISTER and loses and not others:
        return "people.last"
    if role is not None and role not in ROLES:
        return "people.role"
    if password and (weak := passwords.objection(password, name)):
        return weak
    with book.writing() as db:
        if role is not None:
            db.execute("UPDATE people SET role = ? WHERE name = ?", (role, name))
        if disabled is not None:
            db.execute("UPDATE people SET disabled = ? WHERE name = ?", (int(disabled), name))
        if password:
            db.execute("UPDATE people SET password = ? WHERE name = ?", (passwords.hashed(password), name))
        db.execute("UPDATE people SET changed_ms = ? WHERE name = ?", (now_ms(), name))
        db.execute("DELETE FROM sessions WHERE name = ?", (name,))
    return ""


def log_in(book: Book, name: str, password: str, station: str) -> str | None:
    """A new session's secret, None when name and password do not go together. Takes as long either way."""
    name = name.strip().lower()
    rows = book.rows("SELECT password, role, disabled FROM people WHERE name = ?", name)
    kept = rows[0][0] if rows else None
    if not passwords.fits(kept, password) or rows[0][2]:
        # Not what was typed where there is no such account: it may be somebody's password in the wrong field.
        audit.note(book, name if rows else "(unknown name)", "", station, "log in", result="refused")
        return None
    secret = passwords.new_secret()
    oldest = now_ms() - round(SESSION_H_MAX * 3.6e6)
    with book.writing() as db:
        db.execute("DELETE FROM sessions WHERE began_ms < ?", (oldest,))
        db.execute(
            "INSERT INTO sessions (secret, name, csrf, station, began_ms, used_ms) VALUES (?, ?, ?, ?, ?, ?)",
            (passwords.digest(secret), name, passwords.new_secret(), station, now_ms(), now_ms()),
        )
    audit.note(book, name, rows[0][1], station, "log in")
    return secret


def visitor_of(book: Book, secret: str) -> Visitor | None:
    """Who has this session; locked when nobody has done anything with it for long. None when it is over."""
    rows = book.rows(
        "SELECT s.name, p.role, p.full_name, s.csrf, s.locked, s.began_ms, s.used_ms, p.language FROM sessions s"
        " JOIN people p ON p.name = s.name WHERE s.secret = ? AND p.disabled = 0",
        passwords.digest(secret),
    )
    if not rows:
        return None
    name, role, full_name, csrf, locked, began_ms, used_ms, language = rows[0]
    now = now_ms()
    if now - began_ms > SESSION_H_MAX * 3.6e6:
        return None
    idle = now - used_ms > LOCK_MIN * 6e4
    return Visitor(name, role, full_name, csrf, bool(locked) or idle, secret, language)


def used(book: Book, secret: str) -> None:
    """Somebody did something with this session."""
    with book.writing() as db:
        db.execute("UPDATE sessions SET used_ms = ? WHERE secret = ?", (now_ms(), passwords.digest(secret)))


def lock(book: Book, secret: str, locked: bool) -> None:
    """Lock a session to looking on, or unlock it."""
    with book.writing() as db:
        db.execute(
            "UPDATE sessions SET locked = ?, used_ms = ? WHERE secret = ?",
            (int(locked), now_ms(), passwords.digest(secret)),
        )


def log_out(book: Book, secret: str) -> None:
    """End a session."""
    with book.writing() as db:
        db.execute("DELETE FROM sessions WHERE secret = ?", (passwords.digest(secret),))


def knows(book: Book, name: str, password: str) -> bool:
    """Whether it is this person's password, for unlocking."""
    rows = book.rows("SELECT password FROM people WHERE name = ? AND disabled = 0", name)
    return passwords.fits(rows[0][0] if rows else None, password)


def speak(book: Book, name: str, language: str) -> None:
    """Keep the language that somebody chose."""
    with book.writing() as db:
        db.execute("UPDATE people SET language = ? WHERE name = ?", (language, name))
