"""The desk: where page, gateways and tools lay down orders for a running controller, and learn what became of them.

An order is a row of `desk.sqlite`; what became of it is a line of the record's journal with the same id, written by
control exactly once. So an order that was answered is never lost, and nobody at the desk can hold up a scan.
"""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple
from uuid import uuid4

from controller.errors import StoreError
from controller.store.desk_schema import open_desk
from controller.store.reader import Reader

DESK = "desk.sqlite"
EXPIRES_S, EXPIRES_S_MAX = 30.0, 600.0  # an order that nobody took in time is refused, never kept for later
PER_MINUTE_MAX = 120  # orders of one sender; more is a program that has lost its way
ARGS_BYTES_MAX = 4096
TEXT_MAX = 100  # characters of id, verb, who, role, seen
RECIPE_BYTES_MAX = 100_000
_LOOK_S = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """One order. who gives it, in which role; seen: the procedural state the sender looked at ("" = none).

    id: makes it happen once; "" = a new one. expires_s: how long it may lie at the desk.
    """

    verb: str
    who: str
    role: str = ""
    args: Mapping[str, str | float | bool] = field(default_factory=dict)
    seen: str = ""
    expires_s: float = EXPIRES_S
    id: str = ""


class Outcome(NamedTuple):
    """What became of an order. done: it was carried out; else reason says why not. Journal line, scan and UTC."""

    id: str
    done: bool
    reason: str
    line: int
    scan: int
    utc_ms: int


class Desk:
    """One connection for somebody who writes at the desk. Raises StoreError. One thread at a time."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._db = open_desk(path)

    def __enter__(self) -> Desk:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the file back."""
        self._db.close()

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all of it or nothing. Keep it short. Raises StoreError, with what the disk said."""
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
            raise StoreError(f"the desk {self.path} cannot be written: {error}; nothing was ordered") from error

    def rows(self, query: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """All rows of a query. Raises StoreError."""
        try:
            return self._db.execute(query, values).fetchall()
        except sqlite3.Error as error:
            raise StoreError(f"the desk {self.path} cannot be read: {error}") from error


def ask(desk: Desk, order: Order) -> str:
    """Lay an order down; returns its id. The same order given again under one id happens once.

    Raises StoreError: not written, too large, too many in a minute, or an id that another order has.
    """
    try:
        args = json.dumps(dict(order.args), sort_keys=True, allow_nan=False)
    except ValueError:
        numbers = ", ".join(f"{name} {value}" for name, value in order.args.items() if isinstance(value, float))
        raise StoreError(f"an argument of the order is no finite number ({numbers}): give the number meant") from None
    _require_sound(order, args)
    id_ = order.id or uuid4().hex
    now_ms = time.time_ns() // 1_000_000
    row = (id_, order.verb, args, order.who, order.role, now_ms, now_ms + round(1000 * order.expires_s), order.seen)
    with desk.writing() as db:
        before = db.execute("SELECT verb, args, who FROM commands WHERE id = ?", (id_,)).fetchone()
        if before is not None:
            if before != (order.verb, args, order.who):
                raise StoreError(f"another order has the id {id_}: give each order an id of its own")
            return id_
        since_ms = now_ms - 60_000
        recent = db.execute(
            "SELECT count(*) FROM (SELECT who, utc_ms FROM commands ORDER BY number DESC LIMIT 2000)"
            " WHERE who = ? AND utc_ms > ?", (order.who, since_ms)
        ).fetchone()[0]
        if recent >= PER_MINUTE_MAX:
            raise StoreError(f"{order.who} gave {recent} orders in a minute, at most {PER_MINUTE_MAX}: wait a little")
        db.execute(
            "INSERT INTO commands (id, verb, args, who, role, utc_ms, expires_ms, seen)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            row,
        )
    return id_


def outcome(record: Reader, id_: str, after_line: int = 0) -> Outcome | None:
    """What became of an order, None while nothing has. after_line: look at younger journal lines only."""
    line = record.command_line(id_, after_line)
    if line is None:
        return None
    data = line.data
    return Outcome(id_, data.get("outcome") == "done", str(data.get("reason", "")), line.id, line.scan, line.utc_ms)


def wait_outcome(record: Reader, id_: str, timeout_s: float, after_line: int = 0) -> Outcome | None:
    """Look until there is an outcome, None when there is none in time: is the controller running?"""
    deadline = time.monotonic() + timeout_s
    while (found := outcome(record, id_, after_line)) is None and time.monotonic() < deadline:
        time.sleep(_LOOK_S)
    return found


def keep_recipe(desk: Desk, name: str, text: str, who: str, why: str = "", parent: str = "") -> str:
    """Keep a version of a recipe; returns its SHA-256, by which a start names it. The same text is kept once."""
    data = text.encode()
    if len(data) > RECIPE_BYTES_MAX:
        raise StoreError(f"a recipe of {len(data)} bytes, at most {RECIPE_BYTES_MAX}: this is no recipe")
    digest = sha256(data).hexdigest()
    with desk.writing() as db:
        db.execute(
            "INSERT OR IGNORE INTO recipe_versions VALUES (?, ?, ?, ?, ?, ?, ?)",
            (digest, name, text, who, time.time_ns() // 1_000_000, why, parent),
        )
    return digest


def approve(desk: Desk, digest: str, who: str, role: str, why: str = "", *, withdrawn: bool = False) -> None:
    """Approve a version of a recipe, or take an approval back. Nothing is erased: a person's newest line counts."""
    with desk.writing() as db:
        db.execute(
            "INSERT INTO approvals (sha256, who, role, utc_ms, withdrawn, why) VALUES (?, ?, ?, ?, ?, ?)",
            (digest, who, role, time.time_ns() // 1_000_000, int(withdrawn), why),
        )


def write_note(desk: Desk, who: str, role: str, text: str, about: str = "") -> int:
    """A note for the next shift; returns its number. about: a tag, a cycle, a place, or ""."""
    with desk.writing() as db:
        number = db.execute(
            "INSERT INTO notes (utc_ms, who, role, about, text) VALUES (?, ?, ?, ?, ?)",
            (time.time_ns() // 1_000_000, who, role, about, text),
        ).lastrowid
    return number or 0


def enter_charge(desk: Desk, who: str, facts: Mapping[str, Any], command: str = "") -> int:
    """What was said to be in the chamber, as it was entered; returns its number. command: id of its order."""
    with desk.writing() as db:
        number = db.execute(
            "INSERT INTO charges_entered (utc_ms, who, command, facts) VALUES (?, ?, ?, ?)",
            (time.time_ns() // 1_000_000, who, command, json.dumps(dict(facts), sort_keys=True)),
        ).lastrowid
    return number or 0


def _require_sound(order: Order, args: str) -> None:
    for what in ("verb", "who", "role", "seen", "id"):
        value = getattr(order, what)
        if len(value) > TEXT_MAX:
            raise StoreError(f"{what} of an order has {len(value)} characters, at most {TEXT_MAX}")
    if not order.verb or not order.who.strip():
        raise StoreError("an order needs a verb and the name of who gives it")
    if len(args.encode()) > ARGS_BYTES_MAX:
        raise StoreError(f"the arguments of an order have {len(args)} bytes, at most {ARGS_BYTES_MAX}")
    if not 0.0 < order.expires_s <= EXPIRES_S_MAX:
        raise StoreError(f"expires_s {order.expires_s} must be above 0 and at most {EXPIRES_S_MAX:g} s")
    for name, value in order.args.items():
        if not isinstance(value, str | int | float):
            raise StoreError(f"argument {name} of an order is a {type(value).__name__}: text, number or yes/no only")
