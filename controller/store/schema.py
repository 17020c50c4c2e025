"""The tables of `record.sqlite`, and how the file is opened.

Written by control only. WAL, so that readers never hold control up; a reader keeps its transactions short, because a
long one keeps the log from being folded back.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from controller.errors import StoreError
from controller.store.trouble import advice

FORMAT = 1  # PRAGMA user_version
_APPLICATION = 0x44455748  # "DEWH": PRAGMA application_id, so that `file` and we know it
# A block of frames is 2 to 3 kB: with pages of 4 KiB each would fill one alone, and the file would be twice as large.
_PAGE_BYTES = 16384

_TABLES = """
CREATE TABLE cycles (
    cycle INTEGER PRIMARY KEY, began_ms INTEGER NOT NULL, header TEXT NOT NULL, chain BLOB NOT NULL,
    ended_ms INTEGER, last_scan INTEGER, summary TEXT, seal BLOB);
CREATE TABLE frames (
    first_scan INTEGER PRIMARY KEY, cycle INTEGER NOT NULL, scans INTEGER NOT NULL, utc_ms INTEGER NOT NULL,
    block BLOB NOT NULL, chain BLOB NOT NULL);
CREATE TABLE minutes (
    first_scan INTEGER PRIMARY KEY, cycle INTEGER NOT NULL, scans INTEGER NOT NULL, utc_ms INTEGER NOT NULL,
    columns BLOB NOT NULL);
CREATE TABLE tail (
    scan INTEGER PRIMARY KEY, utc_ms INTEGER NOT NULL, words BLOB NOT NULL, columns BLOB NOT NULL);
CREATE TABLE latest (
    one INTEGER PRIMARY KEY CHECK (one = 1), scan INTEGER NOT NULL, utc_ms INTEGER NOT NULL, words BLOB NOT NULL,
    columns BLOB NOT NULL);
CREATE TABLE journal (
    id INTEGER PRIMARY KEY, cycle INTEGER NOT NULL, scan INTEGER NOT NULL, utc_ms INTEGER NOT NULL,
    kind TEXT NOT NULL, tag TEXT NOT NULL, text TEXT NOT NULL, data TEXT NOT NULL, chain BLOB NOT NULL);
CREATE TABLE checkpoint (
    one INTEGER PRIMARY KEY CHECK (one = 1), scan INTEGER NOT NULL, utc_ms INTEGER NOT NULL, now_s REAL NOT NULL,
    state TEXT NOT NULL);
"""


def open_for_writing(path: Path) -> sqlite3.Connection:
    """Open or create the record. Raises sqlite3.Error, or StoreError when the file is another program's.

    Transactions are begun by hand. Any thread may use the connection, one at a time.
    """
    db = sqlite3.connect(path, timeout=1.0, isolation_level=None, check_same_thread=False)
    try:
        db.execute(f"PRAGMA page_size = {_PAGE_BYTES}")
        db.execute("PRAGMA journal_mode = WAL").fetchall()
        db.execute("PRAGMA journal_size_limit = 4194304").fetchall()
        version = db.execute("PRAGMA user_version").fetchone()[0]
        if version == 0 and not db.execute("SELECT 1 FROM sqlite_schema").fetchall():
            db.executescript(
                f"BEGIN IMMEDIATE; PRAGMA application_id = {_APPLICATION}; PRAGMA user_version = {FORMAT};"
                f"{_TABLES} COMMIT;"
            )
        else:
            _require_record(db, path)
    except BaseException:
        db.close()
        raise
    return db


def is_begun(path: Path) -> bool:
    """Whether a record stands there. False for no file, and for one without a cycle: whoever was making it was ended
    before anything was promised, and the next one makes the rest. Raises StoreError when it cannot be read."""
    if not path.is_file():
        return False
    try:
        with closing(sqlite3.connect(_to_read(path), uri=True, timeout=1.0)) as db:
            if not db.execute("SELECT 1 FROM sqlite_schema").fetchall():
                return False
            ours = db.execute("PRAGMA application_id").fetchone()[0] == _APPLICATION
            return not ours or bool(db.execute("SELECT 1 FROM cycles LIMIT 1").fetchall())
    except sqlite3.Error as error:
        raise StoreError(f"the record {path} cannot be read: {error}; {advice(error, path)}") from error


def open_for_reading(path: Path) -> sqlite3.Connection:
    """Open an existing record for reading only. Raises StoreError when that is not possible."""
    if not path.is_file():
        raise StoreError(f"there is no record at {path}; check the path, a cycle writes DIR/record.sqlite")
    try:
        db = sqlite3.connect(_to_read(path), uri=True, timeout=1.0, isolation_level=None)
        db.execute("PRAGMA query_only = ON")
        _require_record(db, path)
    except sqlite3.Error as error:
        raise StoreError(f"the record {path} cannot be read: {error}; {advice(error, path)}") from error
    return db


def _to_read(path: Path) -> str:
    """Only who may write can tidy the log away when it is the last to close; nothing else is ever written."""
    mode = "rw" if os.access(path, os.W_OK) and os.access(path.parent, os.W_OK) else "ro"
    return f"{path.absolute().as_uri()}?mode={mode}"


def _require_record(db: sqlite3.Connection, path: Path) -> None:
    version = db.execute("PRAGMA user_version").fetchone()[0]
    if db.execute("PRAGMA application_id").fetchone()[0] != _APPLICATION:
        raise StoreError(f"{path} is not a record of Dewhold; give another --out, nothing was changed in it")
    if version != FORMAT:
        raise StoreError(f"{path} is a record of format {version}, this program writes {FORMAT}; give another --out")
