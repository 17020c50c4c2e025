"""The tables of `desk.sqlite`, and how the file is opened.

Written by page, gateways and tools only, read by control. To add tables or columns append a script to MIGRATIONS and
never change one that has been given out: PRAGMA user_version counts how many of them a file has had.
"""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from controller.errors import StoreError

_APPLICATION = 0x44455744  # "DEWD": PRAGMA application_id
_WAIT_S = 5.0  # of a writer for another one; control never waits

_FIRST = """
CREATE TABLE desk (one INTEGER PRIMARY KEY CHECK (one = 1), name TEXT NOT NULL) STRICT;
INSERT INTO desk VALUES (1, lower(hex(randomblob(8))));
CREATE TABLE commands (
    number INTEGER PRIMARY KEY AUTOINCREMENT, id TEXT NOT NULL UNIQUE, verb TEXT NOT NULL, args TEXT NOT NULL,
    who TEXT NOT NULL, role TEXT NOT NULL, utc_ms INTEGER NOT NULL, expires_ms INTEGER NOT NULL, seen TEXT NOT NULL
    ) STRICT;
CREATE TABLE notes (
    id INTEGER PRIMARY KEY AUTOINCREMENT, utc_ms INTEGER NOT NULL, who TEXT NOT NULL, role TEXT NOT NULL,
    about TEXT NOT NULL, text TEXT NOT NULL) STRICT;
CREATE TABLE recipe_versions (
    sha256 TEXT PRIMARY KEY, name TEXT NOT NULL, text TEXT NOT NULL, who TEXT NOT NULL, utc_ms INTEGER NOT NULL,
    why TEXT NOT NULL, parent TEXT NOT NULL) STRICT;
CREATE TABLE approvals (
    id INTEGER PRIMARY KEY AUTOINCREMENT, sha256 TEXT NOT NULL REFERENCES recipe_versions, who TEXT NOT NULL,
    role TEXT NOT NULL, utc_ms INTEGER NOT NULL, withdrawn INTEGER NOT NULL, why TEXT NOT NULL) STRICT;
CREATE TABLE charges_entered (
    id INTEGER PRIMARY KEY AUTOINCREMENT, utc_ms INTEGER NOT NULL, who TEXT NOT NULL, command TEXT NOT NULL,
    facts TEXT NOT NULL) STRICT;
"""

MIGRATIONS: tuple[str, ...] = (_FIRST,)


def open_desk(path: Path) -> sqlite3.Connection:
    """Open or create the desk for writing, and bring its tables up to date. Raises StoreError.

    Transactions are begun by hand. Any thread may use the connection, one at a time.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        db = sqlite3.connect(path, timeout=_WAIT_S, isolation_level=None, check_same_thread=False)
    except (OSError, sqlite3.Error) as error:
        raise StoreError(f"the desk {path} cannot be opened: {error}") from error
    try:
        db.execute("PRAGMA journal_mode = WAL").fetchall()
        db.execute("PRAGMA journal_size_limit = 4194304").fetchall()
        db.execute("PRAGMA synchronous = FULL")
        db.execute("PRAGMA foreign_keys = ON")
        migrate(db, path)
    except sqlite3.Error as error:
        db.close()
        raise StoreError(f"the desk {path} cannot be opened: {error}") from error
    except BaseException:
        db.close()
        raise
    return db


def migrate(db: sqlite3.Connection, path: Path, scripts: tuple[str, ...] = MIGRATIONS) -> int:
    """Run the scripts that this file has not had, all or none; returns how many were run.

    Raises StoreError for another program's file, or one of a newer version; sqlite3.Error when a script fails.
    """
    if (_number(db, "application_id"), _number(db, "user_version")) == (_APPLICATION, len(scripts)):
        return 0
    db.execute("BEGIN IMMEDIATE")  # so that two programs that open a new desk do not both make its tables
    try:
        done = _number(db, "user_version")
        if done == 0 and not db.execute("SELECT 1 FROM sqlite_schema").fetchall():
            db.execute(f"PRAGMA application_id = {_APPLICATION}")
        _require_desk(db, path, len(scripts))
        for number, script in enumerate(scripts[done:], done + 1):
            for statement in _statements(script):
                db.execute(statement)
            db.execute(f"PRAGMA user_version = {number}")
        db.execute("COMMIT")
    except BaseException:
        db.execute("ROLLBACK")
        raise
    return len(scripts) - done


def peek_at_desk(path: Path) -> sqlite3.Connection:
    """Open the desk for one quick look: for reading only, never waiting. Raises sqlite3.Error or StoreError;
    FileNotFoundError for one that is only being made.

    Close it after the look. A connection kept open would not notice a desk that was replaced, and maps a small file
    (`-shm`) whose damage by others could end the process that has it mapped.
    """
    db = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=0.0, isolation_level=None)
    try:
        db.execute("PRAGMA query_only = ON")
        db.execute("PRAGMA trusted_schema = OFF")
        if not db.execute("SELECT 1 FROM sqlite_schema LIMIT 1").fetchall():
            raise FileNotFoundError(f"{path} has no tables yet")  # noqa: TRY301
        _require_desk(db, path)
    except BaseException:
        db.close()
        raise
    return db


def stamp(path: Path, log: Path) -> tuple[int, ...]:
    """What of the two files changes with every commit; the write-ahead log may be missing. Raises OSError.

    The newest time of change, ns, comes first.
    """
    main = os.stat(path)  # noqa: PTH116  twice as quick as by Path, and this is asked every scan
    try:
        wal = os.stat(log)  # noqa: PTH116
    except FileNotFoundError:
        return main.st_mtime_ns, main.st_ino, main.st_size
    return max(main.st_mtime_ns, wal.st_mtime_ns), main.st_ino, main.st_size, wal.st_ino, wal.st_size, wal.st_mtime_ns


def _require_desk(db: sqlite3.Connection, path: Path, known: int | None = None) -> None:
    """known: scripts that this version knows; control asks for none, it reads the oldest table only."""
    if _number(db, "application_id") != _APPLICATION:
        raise StoreError(f"{path} is not a desk of Dewhold; nothing was changed in it, check the path")
    done = _number(db, "user_version")
    if known is not None and done > known:
        raise StoreError(f"{path} was written by a newer version (format {done}, this one knows {known}): update")


def _number(db: sqlite3.Connection, pragma: str) -> int:
    found: int = db.execute(f"PRAGMA {pragma}").fetchone()[0]
    return found


def _statements(script: str) -> list[str]:
    """A script in single statements: `executescript` would end the transaction it runs in."""
    found, waiting = [], ""
    for piece in script.split(";"):
        waiting += piece + ";"
        if sqlite3.complete_statement(waiting):
            if waiting.strip(" \n;"):
                found.append(waiting)
            waiting = ""
    return found
