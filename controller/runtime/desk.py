"""Orders from the desk, taken once a scan. Whatever happens to the desk, the worst is "no order this scan".

Control only reads it, and remembers in its own record how far it came: the line that journals an order says which desk
it came from and its number there, so a restart goes on behind it and no order happens twice. An order that is too
old, that was given before this controller began, or that cannot be read goes through the scan like any other and is
refused there, with its reason.
"""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from math import isfinite
from pathlib import Path
from typing import Any, NamedTuple

from controller.core.frames import Command, Event
from controller.core.orders.commands import MEMORY
from controller.core.orders.verbs import RUNTIME, SAFE
from controller.errors import StoreError
from controller.runtime.desknotes import DeskNotes
from controller.store.desk import ARGS_BYTES_MAX, EXPIRES_S_MAX, TEXT_MAX
from controller.store.desk_schema import peek_at_desk, stamp
from controller.store.reader import Reader

# A file's time of change moves in steps of the system's tick, or of seconds on some disks: only after this long
# without a change does the same time mean the same content.
_SETTLED_NS = 2_500_000_000
_LOOK_NS_MAX = 50_000_000  # longest look at a desk
_STEPS = 1000  # of SQLite's virtual machine between two looks at the clock
_GRACE_NS = 3_000_000_000  # a desk may be busy for so long (somebody opens or closes it) before that is told
_PAUSE = 5  # scans without a look after one that failed, save for a desk that is only busy
_OURS = frozenset((RUNTIME, "restart", "invariants"))  # names under which control orders itself
_FIRST = ("abort", "stop", "hold")  # taken before others of the same look, and never too old to be safe
_TROUBLES = (sqlite3.Error, OSError, StoreError, ValueError, TypeError, OverflowError)
_QUERY = f"""
SELECT number, substr(id, 1, {TEXT_MAX}), substr(verb, 1, {TEXT_MAX}), substr(who, 1, {TEXT_MAX}),
    substr(role, 1, {TEXT_MAX}), substr(seen, 1, {TEXT_MAX}), utc_ms, expires_ms,
    CASE WHEN length(args) <= {ARGS_BYTES_MAX} THEN args END
FROM commands WHERE number > ? ORDER BY number LIMIT {MEMORY}
"""


class _Row(NamedTuple):
    number: int
    id: str
    verb: str
    who: str
    role: str
    seen: str
    utc_ms: int
    expires_ms: int
    args: str | None


class DeskOrders:
    """A source of orders: the desk at `path`, which may not exist yet.

    record: where the orders taken so far are journaled; may not exist yet.  tell: takes what should be journaled.
    now_ms: UTC, the same clock that the desk's writers use (a simulated chamber may live at another time).
    troubles: looks that failed.
    """

    def __init__(
        self,
        path: Path,
        record: Path,
        tell: Callable[[Event], object],
        now_ms: Callable[[], int] = lambda: time.time_ns() // 1_000_000,
    ) -> None:
        self._path, self._log = path, path.with_name(path.name + "-wal")
        self._record, self._tell, self._now_ms = record, tell, now_ms
        self._began_ms = now_ms()
        self._stamp: tuple[int, ...] = ()
        self._settled = False
        self._pause = 0
        self._desk, self._mark = "", 0
        self._said = ""
        self._notes = DeskNotes(record, tell, now_ms)
        self._busy_ns = 0  # since when, by the monotonic clock; 0 = it is not
        self.troubles = 0

    def due(self, _scan: int) -> tuple[Command, ...]:
        """What was ordered since the last look, oldest first, save that what makes safe comes before the rest."""
        if self._pause:
            self._pause -= 1
            return ()
        try:
            seen = stamp(self._path, self._log)
        except FileNotFoundError:
            self._settled = False
            return ()
        except OSError as error:
            return self._trouble(error)
        if seen == self._stamp and self._settled:
            return ()
        try:
            with closing(peek_at_desk(self._path)) as db:
                rows = self._look(db)
                more = self._notes.look(db, self._desk)
            commands = [self._command(row) for row in rows]
        except FileNotFoundError:  # somebody is about to make it
            self._settled = False
            return ()
        except _TROUBLES as error:
            return self._trouble(error)
        self._busy_ns = 0
        if self._said:
            self._said = ""
            self._tell(Event("alarm", "DESK", "the desk can be read again", (("active", False),)))
        self._stamp = seen
        self._settled = not more and len(rows) < MEMORY and time.time_ns() - seen[0] > _SETTLED_NS
        if not rows:
            return ()
        self._mark = rows[-1].number
        commands.sort(key=lambda command: command.verb not in _FIRST)
        return tuple(commands)

    def _look(self, db: sqlite3.Connection) -> list[_Row]:
        """Rows behind the mark. A desk is not trusted to answer in time."""
        db.text_factory = _text
        until_ns = time.monotonic_ns() + _LOOK_NS_MAX
        db.set_progress_handler(lambda: time.monotonic_ns() > until_ns, _STEPS)
        name = str(db.execute("SELECT name FROM desk").fetchone()[0])[:TEXT_MAX]
        if name != self._desk:
            self._mark = self._mark_of(name, db)
            self._desk = name
        return [_Row(*row) for row in db.execute(_QUERY, (self._mark,)).fetchall()]

    def _mark_of(self, name: str, db: sqlite3.Connection) -> int:
        """How far this desk's orders were taken: by the record; of a desk it does not know all that is too old."""
        if self._record.is_file():
            with closing(Reader(self._record)) as reader:
                mark = reader.desk_mark(name)
            if mark:
                return mark
        over: int = db.execute(
            "SELECT coalesce(max(number), 0) FROM commands WHERE expires_ms <= ?", (self._now_ms(),)
        ).fetchone()[0]
        if over:
            text = f"this record does not know the desk {self._path}: its orders up to number {over} are passed over"
            self._tell(Event("note", "DESK", text, (("desk", name), ("number", over))))
        return over

    def _command(self, row: _Row) -> Command:
        args, refuse = _arguments(row.args)
        refuse = refuse or self._objection(row)
        args |= {"desk": self._desk, "number": float(row.number)}
        for what, value in (("role", row.role), ("seen", row.seen), ("refuse", refuse)):
            args.pop(what, None)  # said by the desk's own columns only
            if value:
                args[what] = str(value)
        return Command(str(row.id), str(row.verb), str(row.who), tuple(sorted(args.items())))

    def _objection(self, row: _Row) -> str:
        """Why an order may not be taken; "" when it may: whose it is, and how old.

        What only makes safe is not refused for having waited for a controller: giving it again would lose time.
        """
        if row.who in _OURS:
            return f"{row.who} is a name that control keeps for itself; give it under your own"
        now_ms = self._now_ms()
        if now_ms > row.expires_ms or now_ms - row.utc_ms > 1000 * EXPIRES_S_MAX:
            return f"expired: {0.001 * (now_ms - row.utc_ms):.0f} s old when it was seen; give it again"
        if row.utc_ms < self._began_ms and row.verb not in SAFE:
            return "given before this controller began; look and give it again"
        return ""

    def _trouble(self, error: Exception) -> tuple[Command, ...]:
        """Count it, say it once for each spell of trouble, and wait a little."""
        self.troubles += 1
        self._settled = False
        busy = isinstance(error, sqlite3.OperationalError) and "locked" in str(error)
        self._pause = 0 if busy else _PAUSE
        if busy and not self._busy_ns:
            self._busy_ns = time.monotonic_ns()
        lasting = not busy or time.monotonic_ns() - self._busy_ns >= _GRACE_NS
        if lasting and not self._said:
            self._said = str(error)
            text = (
                f"the desk cannot be read ({error}); control goes on, orders given there wait or expire; look at"
                f" {self._path} and who uses it"
            )
            self._tell(Event("alarm", "DESK", text, (("active", True),)))
        return ()


def _text(data: bytes) -> str:
    return data.decode(errors="replace")


def _arguments(text: str | None) -> tuple[dict[str, Any], str]:
    """(arguments, why they cannot be used). What a journal cannot hold is not let in: no NaN, no half characters."""
    try:
        found = json.loads(text or "", parse_int=_number, parse_float=_number, parse_constant=_number)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict) or not all(isinstance(value, str | int | float) for value in found.values()):
        return {}, "its arguments cannot be read: names with texts, numbers or yes/no are needed"
    return {_whole(name): _whole(value) if isinstance(value, str) else value for name, value in found.items()}, ""


def _number(text: str) -> float:
    value = float(text)
    if not isfinite(value):
        raise ValueError(f"{text} is no number")
    return value


def _whole(text: str) -> str:
    return text.encode(errors="replace").decode()
