"""What is to be sent, what was, and what became of it: a file of its own, so that a killed call-out loses nothing.

A step of an escalation and its messages are written in one transaction, so each is made exactly once. A message that
was being sent when the program was killed is sent again under the same id: the other side may see it twice, never not.
"""

from __future__ import annotations

import json
import sqlite3
import uuid
from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import closing
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from types import TracebackType
from typing import Any

from controller.callout.escalation import Call, Incident, Key
from controller.callout.outcome import Outcome
from controller.errors import StoreError

OUTBOX = "callout.sqlite"  # its usual name, beside the record
FORMAT = 1
_APPLICATION = 0x44574341  # "DWCA"
BACKOFF_S = (15.0, 30.0, 60.0, 120.0, 240.0, 480.0, 900.0)  # between tries; the last one from then on
KEEP_MS = 400 * 86_400_000
OPEN, TEST = ("waiting", "sending"), "test"

_TABLES = """
CREATE TABLE letters (
    id TEXT PRIMARY KEY, made_ms INTEGER NOT NULL, kind TEXT NOT NULL, person TEXT NOT NULL, channel TEXT NOT NULL,
    address TEXT NOT NULL, about TEXT NOT NULL, due_ms INTEGER NOT NULL, subject TEXT NOT NULL DEFAULT '',
    body TEXT NOT NULL DEFAULT '', state TEXT NOT NULL DEFAULT 'waiting', tries INTEGER NOT NULL DEFAULT 0,
    done_ms INTEGER, said TEXT NOT NULL DEFAULT '');
CREATE INDEX letters_open ON letters (state, due_ms);
CREATE INDEX letters_made ON letters (made_ms);
CREATE TABLE tries (
    letter TEXT NOT NULL, at_ms INTEGER NOT NULL, result TEXT NOT NULL, said TEXT NOT NULL);
CREATE TABLE incidents (chamber TEXT NOT NULL, tag TEXT NOT NULL, body TEXT NOT NULL, PRIMARY KEY (chamber, tag));
CREATE TABLE marks (name TEXT PRIMARY KEY, at_ms INTEGER NOT NULL);
"""


@dataclass(frozen=True, slots=True)
class Letter:
    """One message to one person by one channel ("mail", or the name of a web call).

    kind: step, acknowledged, over, test. about: alarms. state: waiting, sending, sent, refused, given up, replaced (a
    newer one says the same and more) or dropped (nobody was needed any more before it could be sent).
    subject, body: as first handed over, "" before. said: what the other side, or the reason, was last.
    """

    id: str
    made_ms: int
    kind: str
    person: str
    channel: str
    address: str
    about: tuple[Key, ...]
    due_ms: int
    subject: str
    body: str
    state: str
    tries: int
    done_ms: int | None
    said: str


_COLUMNS = tuple(field.name for field in fields(Letter))


@dataclass(frozen=True, slots=True)
class Way:
    """How one person is reached: a channel and the address there."""

    channel: str
    address: str


class Outbox:
    """One connection, used by one thread. Raises StoreError when the file cannot be used."""

    def __init__(self, path: Path) -> None:
        self._path = path
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._db = _open(path)
        except (sqlite3.Error, OSError) as error:
            text = f"the call-out's own file {path} cannot be used: {error}; check folder and disk"
            raise StoreError(text) from error

    def __enter__(self) -> Outbox:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the file back."""
        self._db.close()

    def recover(self, now_ms: int) -> int:
        """What was being sent when the program before this one ended is sent again; returns how many that are."""
        said = "the program ended while sending; sent again under the same id"
        with self._db:
            rows = self._db.execute("SELECT id FROM letters WHERE state = 'sending'").fetchall()
            for (letter,) in rows:
                self._db.execute("INSERT INTO tries VALUES (?, ?, 'again', ?)", (letter, now_ms, said))
            self._db.execute("UPDATE letters SET state = 'waiting', said = ? WHERE state = 'sending'", (said,))
        return len(rows)

    def incidents(self) -> tuple[Incident, ...]:
        """What is remembered of what needs somebody."""
        rows = self._db.execute("SELECT body FROM incidents ORDER BY chamber, tag").fetchall()
        return tuple(_incident(json.loads(body)) for (body,) in rows)

    def strand(self, channels: Collection[str], now_ms: int) -> int:
        """What waits for a channel that is in the file no more is not sent; returns how many that are."""
        gone = [one.id for one in self.letters(10_000, OPEN) if one.channel not in channels]
        for letter_id in gone:
            self.drop(letter_id, "its channel is in the call-out file no more", now_ms)
        return len(gone)

    def put(
        self, incidents: Sequence[Incident], calls: Sequence[Call], ways: Mapping[str, Sequence[Way]],
        gather_s: float, pause_s: float, now_ms: int,
    ) -> None:
        """Remember incidents and make the messages of these calls, all or nothing. ways: of each person."""
        with self._db:
            self._db.execute("DELETE FROM incidents")
            self._db.executemany(
                "INSERT INTO incidents VALUES (?, ?, ?)",
                [(one.key.chamber, one.key.tag, json.dumps(asdict(one))) for one in incidents],
            )
            grouped: dict[tuple[str, str], list[Key]] = {}
            for call in calls:
                grouped.setdefault((call.person, call.kind), []).append(call.key)
            for (person, kind), about in grouped.items():
                for way in ways[person]:
                    self._make(person, kind, way, about, gather_s, pause_s, now_ms)

    def put_test(self, mark: str, people: Iterable[str], ways: Mapping[str, Sequence[Way]], now_ms: int) -> list[str]:
        """Make a test message for each of these people, once for a mark; returns their ids."""
        with self._db:
            if self._db.execute("INSERT OR IGNORE INTO marks VALUES (?, ?)", (mark, now_ms)).rowcount == 0:
                return []
            made = [
                self._make(person, TEST, way, [], 0.0, 0.0, now_ms) for person in people for way in ways[person]
            ]
            self._db.execute("DELETE FROM tries WHERE at_ms < ?", (now_ms - KEEP_MS,))
            self._db.execute("DELETE FROM letters WHERE made_ms < ? AND state NOT IN (?, ?)", (now_ms - KEEP_MS, *OPEN))
            self._db.execute("DELETE FROM marks WHERE at_ms < ?", (now_ms - KEEP_MS,))
        return made

    def marked(self, mark: str) -> bool:
        """Was the test of this mark made?"""
        return self._db.execute("SELECT 1 FROM marks WHERE name = ?", (mark,)).fetchone() is not None

    def due(self, now_ms: int, channel: str) -> Letter | None:
        """The next message of a channel that is to be sent now: the oldest that was tried least."""
        return self._one(
            "WHERE state = 'waiting' AND channel = ? AND due_ms <= ? ORDER BY tries, made_ms, rowid LIMIT 1",
            (channel, now_ms),
        )

    def get(self, letter_id: str) -> Letter | None:
        """One message by its id."""
        return self._one("WHERE id = ?", (letter_id,))

    def sending(self, letter_id: str, subject: str, body: str) -> None:
        """It is handed over with this text now."""
        with self._db:
            self._db.execute(
                "UPDATE letters SET state = 'sending', subject = ?, body = ? WHERE id = ?", (subject, body, letter_id)
            )

    def drop(self, letter_id: str, why: str, now_ms: int) -> None:
        """It is not sent any more."""
        with self._db:
            self._finish(letter_id, "dropped", why, now_ms)

    def settle(self, letter_id: str, outcome: Outcome, give_up_h: float, now_ms: int) -> str:
        """Keep what became of one try; returns the state it is in now."""
        with self._db:
            one = self._db.execute("SELECT made_ms, tries FROM letters WHERE id = ?", (letter_id,))
            made_ms, tries = one.fetchone()
            self._db.execute("INSERT INTO tries VALUES (?, ?, ?, ?)", (letter_id, now_ms, outcome.result, outcome.said))
            self._db.execute("UPDATE letters SET tries = tries + 1 WHERE id = ?", (letter_id,))
            if outcome.result != "again":
                return self._finish(letter_id, outcome.result, outcome.said, now_ms)
            wait_s = max(BACKOFF_S[min(tries, len(BACKOFF_S) - 1)], min(outcome.wait_s, BACKOFF_S[-1]))
            if now_ms + 1000.0 * wait_s >= made_ms + 3_600_000.0 * give_up_h:
                return self._finish(letter_id, "given up", outcome.said, now_ms)
            self._db.execute(
                "UPDATE letters SET state = 'waiting', due_ms = ?, said = ? WHERE id = ?",
                (now_ms + round(1000 * wait_s), outcome.said, letter_id),
            )
        return "waiting"

    def undelivered(self, incidents: Iterable[Incident]) -> frozenset[Key]:
        """Incidents whose newest messages all came to nothing: the next step need not wait."""
        found = set()
        for incident in incidents:
            if incident.last_ms is None:
                continue
            rows = self._db.execute(
                "SELECT about, state FROM letters WHERE kind = 'step' AND made_ms >= ?", (incident.last_ms,)
            ).fetchall()
            states = {state for about, state in rows if list(incident.key) in json.loads(about)}
            if states and states <= {"refused", "given up"}:
                found.add(incident.key)
        return frozenset(found)

    def shift(self, by_ms: int) -> None:
        """The computer's clock was set: what waits keeps its distance from now."""
        with self._db:
            self._db.execute(
                "UPDATE letters SET due_ms = due_ms + ?, made_ms = made_ms + ? WHERE state IN (?, ?)",
                (by_ms, by_ms, *OPEN),
            )
            for incident in self.incidents():
                later = {
                    name: None if value is None else value + by_ms
                    for name in ("seen_ms", "begun_ms", "last_ms", "over_ms")
                    for value in [getattr(incident, name)]
                }
                body = json.dumps({**asdict(incident), **later})
                self._db.execute("UPDATE incidents SET body = ? WHERE chamber = ? AND tag = ?", (body, *incident.key))

    def letters(self, limit: int = 50, states: Collection[str] = ()) -> tuple[Letter, ...]:
        """The newest messages first, of some states or all."""
        marks = ", ".join("?" * len(states))
        where = f"WHERE state IN ({marks}) " if states else ""
        return self._all(f"{where}ORDER BY made_ms DESC, rowid DESC LIMIT ?", (*states, limit))

    def tries(self, letter_id: str) -> list[tuple[int, str, str]]:
        """(UTC ms, result, what was said) of each try, oldest first."""
        asked = "SELECT at_ms, result, said FROM tries WHERE letter = ? ORDER BY rowid"
        return self._db.execute(asked, (letter_id,)).fetchall()

    def failed_since(self, since_ms: int) -> int:
        """How many messages made since then came to nothing."""
        row = self._db.execute(
            "SELECT count(*) FROM letters WHERE made_ms >= ? AND state IN ('refused', 'given up')", (since_ms,)
        ).fetchone()
        return int(row[0])

    def _make(
        self, person: str, kind: str, way: Way, about: list[Key], gather_s: float, pause_s: float, now_ms: int
    ) -> str:
        """A message; one of the same kind to the same place that still waits is taken into it."""
        place = (person, way.channel, kind)
        due_ms = now_ms + round(1000 * gather_s)
        newest = self._db.execute(
            "SELECT max(coalesce(done_ms, made_ms)) FROM letters WHERE person = ? AND channel = ? AND state = 'sent'"
            " AND kind != ?",
            (person, way.channel, TEST),
        ).fetchone()[0]
        if newest is not None and kind != TEST:
            due_ms = max(due_ms, min(newest, now_ms) + round(1000 * pause_s))
        if kind != TEST:
            older = self._db.execute(
                "SELECT id, about, due_ms, tries FROM letters WHERE person = ? AND channel = ? AND kind = ?"
                " AND state = 'waiting'",
                place,
            ).fetchall()
            for letter, text, old_due_ms, tries in older:
                about = list(dict.fromkeys([*(Key(*one) for one in json.loads(text)), *about]))
                if not tries:  # it was only being gathered: what came first is not held up by what comes later
                    due_ms = min(due_ms, old_due_ms)
                self._finish(letter, "replaced", "a newer message says the same and more", now_ms)
        made = uuid.uuid4().hex
        self._db.execute(
            "INSERT INTO letters (id, made_ms, kind, person, channel, address, about, due_ms)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (made, now_ms, kind, person, way.channel, way.address, json.dumps(about), due_ms),
        )
        return made

    def _finish(self, letter_id: str, state: str, said: str, now_ms: int) -> str:
        self._db.execute(
            "UPDATE letters SET state = ?, said = ?, done_ms = ? WHERE id = ?", (state, said, now_ms, letter_id)
        )
        return state

    def _one(self, where: str, values: tuple[object, ...]) -> Letter | None:
        rows = self._all(where, values)
        return rows[0] if rows else None

    def _all(self, where: str, values: tuple[object, ...]) -> tuple[Letter, ...]:
        rows = self._db.execute(
            f"SELECT {', '.join(_COLUMNS)} FROM letters {where}", values
        ).fetchall()
        return tuple(_letter(row) for row in rows)


def letters_of(path: Path, since_ms: int = 0, limit: int = 500) -> tuple[Letter, ...]:
    """Who was told what since then, newest first, for other programs: reads only, and makes no file.

    Empty when there is none yet. Raises StoreError when it cannot be read.
    """
    if not path.is_file():
        return ()
    asked = f"SELECT {', '.join(_COLUMNS)} FROM letters WHERE made_ms >= ? ORDER BY made_ms DESC, rowid DESC LIMIT ?"
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=1.0)) as db:
            return tuple(_letter(row) for row in db.execute(asked, (since_ms, limit)))
    except sqlite3.Error as error:
        raise StoreError(f"the call-out's file {path} cannot be read: {error}") from error


def _open(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(path, timeout=5.0)
    try:
        db.execute("PRAGMA journal_mode = WAL").fetchall()
        db.execute("PRAGMA synchronous = FULL")
        if not db.execute("SELECT 1 FROM sqlite_schema").fetchall():
            db.executescript(
                f"BEGIN IMMEDIATE; PRAGMA application_id = {_APPLICATION}; PRAGMA user_version = {FORMAT};"
                f"{_TABLES} COMMIT;"
            )
        found = (db.execute("PRAGMA application_id").fetchone()[0], db.execute("PRAGMA user_version").fetchone()[0])
    except BaseException:
        db.close()
        raise
    if found != (_APPLICATION, FORMAT):
        db.close()
        raise StoreError(f"{path} is not a call-out file of this version; give another --outbox")
    return db


def _letter(row: tuple[Any, ...]) -> Letter:
    values = dict(zip(_COLUMNS, row, strict=True))
    return Letter(**{**values, "about": tuple(Key(*one) for one in json.loads(values["about"]))})


def _incident(body: dict[str, Any]) -> Incident:
    return Incident(**{**body, "key": Key(*body["key"]), "told": tuple(body["told"])})
