"""`page/people.sqlite`: accounts, sessions, tokens, audit. One connection, one writer at a time."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from controller.errors import StoreError

FORMAT = 1
_TABLES = """
CREATE TABLE people (
    name TEXT PRIMARY KEY, full_name TEXT NOT NULL, role TEXT NOT NULL, password TEXT NOT NULL,
    made_ms INTEGER NOT NULL, changed_ms INTEGER NOT NULL, disabled INTEGER NOT NULL DEFAULT 0,
    language TEXT NOT NULL DEFAULT '') STRICT;
CREATE TABLE sessions (
    secret TEXT PRIMARY KEY, name TEXT NOT NULL REFERENCES people, csrf TEXT NOT NULL, station TEXT NOT NULL,
    began_ms INTEGER NOT NULL, used_ms INTEGER NOT NULL, locked INTEGER NOT NULL DEFAULT 0) STRICT;
CREATE TABLE tokens (
    id INTEGER PRIMARY KEY, secret TEXT NOT NULL UNIQUE, label TEXT NOT NULL, role TEXT NOT NULL,
    made_by TEXT NOT NULL, made_ms INTEGER NOT NULL, expires_ms INTEGER NOT NULL, revoked INTEGER NOT NULL DEFAULT 0
    ) STRICT;
CREATE TABLE audit (
    id INTEGER PRIMARY KEY AUTOINCREMENT, utc_ms INTEGER NOT NULL, who TEXT NOT NULL, role TEXT NOT NULL,
    station TEXT NOT NULL, what TEXT NOT NULL, object TEXT NOT NULL, old TEXT NOT NULL, new TEXT NOT NULL,
    reason TEXT NOT NULL, result TEXT NOT NULL, chain TEXT NOT NULL) STRICT;
CREATE TABLE left_at (name TEXT NOT NULL, chamber TEXT NOT NULL, line INTEGER NOT NULL, utc_ms INTEGER NOT NULL,
    PRIMARY KEY (name, chamber)) STRICT;
"""


class Book:
    """The file. Raises StoreError with what the disk said."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.RLock()
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(path, timeout=5.0, isolation_level=None, check_same_thread=False)
            path.chmod(0o600)
            self._db.execute("PRAGMA journal_mode = WAL").fetchall()
            self._db.execute("PRAGMA synchronous = FULL")
            version = self._db.execute("PRAGMA user_version").fetchone()[0]
            if version == 0:
                self._db.executescript(f"BEGIN IMMEDIATE; {_TABLES} PRAGMA user_version = {FORMAT}; COMMIT;")
            elif version != FORMAT:
                raise StoreError(f"{path} has format {version}, this program knows {FORMAT}: update it")
        except (sqlite3.Error, OSError) as error:
            raise StoreError(f"the accounts {path} cannot be opened: {error}") from error

    def close(self) -> None:
        """Give the file back."""
        self._db.close()

    def rows(self, query: str, *values: Any) -> list[tuple[Any, ...]]:
        """All rows of a query."""
        with self._lock:
            try:
                return self._db.execute(query, values).fetchall()
            except sqlite3.Error as error:
                raise StoreError(f"the accounts {self.path} cannot be read: {error}") from error

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all of it or nothing."""
        with self._lock:
            try:
                self._db.execute("BEGIN IMMEDIATE")
                try:
                    yield self._db
                    self._db.execute("COMMIT")
                except BaseException:
                    if self._db.in_transaction:
                        self._db.execute("ROLLBACK")
                    raise
            except sqlite3.Error as error:
                raise StoreError(f"the accounts {self.path} cannot be written: {error}; nothing was changed") from error
