"""Control at the desk: every order once, whatever the desk does; a desk in trouble is no order, never a stop."""

from __future__ import annotations

import os
import re
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

import pytest

from controller.core.frames import Command, Event
from controller.core.orders.commands import objection
from controller.runtime.desk import DeskOrders
from controller.store.desk import Desk, Order, ask
from controller.store.header import Header
from controller.store.recorder import Recorder, Scan


class Bench:
    """A desk, a record and a source of orders over them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = folder / "desk.sqlite"
        self.record = folder / "record.sqlite"
        self.told: list[Event] = []
        self.ahead_ms = -10_000  # this controller began ten seconds ago
        self.orders = self.control()

    def control(self) -> DeskOrders:
        return DeskOrders(self.path, self.record, self.told.append, lambda: self.now_ms() + self.ahead_ms)

    def now_ms(self) -> int:
        return time.time_ns() // 1_000_000

    def keep(self, scan: int, commands: tuple[Command, ...]) -> None:
        header = Header(tags=(), computed=(), input_words=1, output_words=1, scan_s=1.0)
        recorder: Recorder[Any] = Recorder(self.record, header, began_ms=0)
        recorder.add(Scan(scan, 1000 * scan, float(scan), b"\0" * 6, (), (), (), None, commands))
        recorder.close()


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    made = Bench(tmp_path)
    made.ahead_ms = 0
    return made


def lay(bench: Bench, *verbs: str, who: str = "ana") -> list[str]:
    with Desk(bench.path) as desk:
        return [ask(desk, Order(verb=verb, who=who, role="operator", seen="idle")) for verb in verbs]


def put(bench: Bench, count: int = 1, **changes: Any) -> None:
    """Rows as a program writes them that does not keep to the rules of `ask`."""
    row = {
        "id": "x", "verb": "start", "args": "{}", "who": "bad", "role": "", "utc_ms": bench.now_ms(),
        "expires_ms": bench.now_ms() + 60_000, "seen": "",
    } | changes
    with Desk(bench.path) as desk, desk.writing() as db:
        names = ", ".join(row)
        db.executemany(
            f"INSERT INTO commands ({names}) VALUES ({', '.join('?' * len(row))})",
            [tuple((row | {"id": f"{row['id']}{number}"}).values()) for number in range(count)],
        )


def test_a_desk_that_is_only_being_made_is_no_trouble(bench: Bench) -> None:
    """SQLite makes an empty file first, and tables in a transaction of their own."""
    sqlite3.connect(bench.path).close()
    bench.path.touch()
    assert bench.orders.due(0) == ()
    db = sqlite3.connect(bench.path)
    db.execute("PRAGMA journal_mode = WAL")
    assert bench.orders.due(1) == ()
    db.close()
    lay(bench, "stop")
    assert [command.verb for command in bench.orders.due(2)] == ["stop"]
    assert bench.told == []


def test_an_order_is_taken_once_with_who_role_and_what_was_seen(bench: Bench) -> None:
    assert bench.orders.due(0) == ()  # no desk yet
    (id_,) = lay(bench, "start")
    (command,) = bench.orders.due(1)
    args = dict(command.args)
    assert (command.id, command.verb, command.who) == (id_, "start", "ana")
    assert (args["role"], args["seen"], args["number"]) == ("operator", "idle", 1)
    assert "refuse" not in args
    assert list(command.args) == sorted(command.args)
    assert [bench.orders.due(scan) for scan in range(2, 5)] == [(), (), ()]
    lay(bench, "pause", "resume")
    assert [command.verb for command in bench.orders.due(5)] == ["pause", "resume"]
    assert bench.told == []


def test_arguments_are_of_the_kinds_that_a_checkpoint_can_hold(bench: Bench) -> None:
    put(bench, args='{"a": 80, "b": 2.5, "c": true, "d": "x", "e": -0}')
    (command,) = bench.orders.due(0)
    assert {type(value) for _name, value in command.args} <= {str, float, bool}
    assert dict(command.args)["a"] == 80.0


def test_what_makes_safe_goes_first(bench: Bench) -> None:
    lay(bench, "start", "acknowledge", "abort", "pause", "stop")
    assert [command.verb for command in bench.orders.due(0)] == ["abort", "stop", "start", "acknowledge", "pause"]


def test_a_restart_goes_on_behind_what_the_record_has(bench: Bench) -> None:
    lay(bench, "acknowledge", "abort")
    taken = bench.orders.due(0)
    bench.keep(0, taken)
    lay(bench, "stop", "start")
    again = bench.control()
    assert [command.verb for command in again.due(1)] == ["stop", "start"]


def test_orders_from_before_this_controller_are_refused_save_those_that_make_safe(bench: Bench) -> None:
    lay(bench, "start", "abort")
    bench.ahead_ms = 5_000
    later = bench.control()
    abort, start = later.due(0)
    assert "refuse" not in dict(abort.args)
    assert objection(start, "idle", 0, 30.0) == "given before this controller began; look and give it again"


def test_an_expired_order_is_refused_in_the_scan_with_its_reason(bench: Bench) -> None:
    put(bench, verb="abort", utc_ms=bench.now_ms() - 60_000, expires_ms=bench.now_ms() - 30_000)
    bench.keep(0, ())
    lay(bench, "stop")
    bench.orders.due(0)
    with Desk(bench.path) as desk, desk.writing() as db:
        db.execute("UPDATE commands SET number = 9, expires_ms = utc_ms WHERE verb = 'abort'")
    (command,) = bench.orders.due(1)
    said = objection(command, "running", 0, 30.0)
    assert re.fullmatch(r"expired: [67]\d s old when it was seen; give it again", said), said


def test_of_a_desk_the_record_does_not_know_old_orders_are_passed_over_and_that_is_said(bench: Bench) -> None:
    put(bench, 50, utc_ms=1, expires_ms=2)
    lay(bench, "stop")
    assert [command.verb for command in bench.orders.due(0)] == ["stop"]
    assert [(event.kind, event.tag) for event in bench.told] == [("note", "DESK")]
    assert "up to number 50" in bench.told[0].text


@pytest.mark.parametrize(
    "args",
    ["", "{", "[]", '{"a": [1]}', '{"a": NaN}', '{"a": 1e999}', '{"a": null}', "[" * 4000, "x" * 9000],
)
def test_arguments_that_cannot_be_read_are_refused_and_the_next_order_is_taken(bench: Bench, args: str) -> None:
    put(bench, args=args)
    lay(bench, "stop")
    stop, bad = bench.orders.due(0)
    assert stop.verb == "stop"
    assert objection(bad, "idle", 0, 30.0).startswith("its arguments cannot be read")
    assert bench.told == []


def test_half_characters_and_great_numbers_cannot_reach_the_journal(bench: Bench) -> None:
    put(bench, args='{"a\\ud800": "b\\udfff", "n": 123456789012345678901234567890}')
    (command,) = bench.orders.due(0)
    assert dict(command.args)["a?"] == "b?"
    assert dict(command.args)["n"] == pytest.approx(1.2345678901234568e29)


def test_the_desks_own_columns_are_believed_not_the_arguments(bench: Bench) -> None:
    put(bench, args='{"role": "admin", "refuse": "x", "seen": "y", "number": 99, "desk": "z"}', role="viewer")
    (command,) = bench.orders.due(0)
    args = dict(command.args)
    assert (args["role"], args["number"]) == ("viewer", 1)
    assert args["desk"] != "z"
    assert "refuse" not in args
    assert "seen" not in args


def test_nobody_at_the_desk_speaks_for_control_itself(bench: Bench) -> None:
    put(bench, verb="trouble", who="runtime", args='{"tag": "program-fault", "active": false}')
    (command,) = bench.orders.due(0)
    assert "a name that control keeps for itself" in objection(command, "running", 0, 30.0)


def test_a_flood_is_taken_in_bounded_bites_and_an_abort_in_it_comes_soon(bench: Bench) -> None:
    put(bench, 5000, verb="acknowledge")
    lay(bench, "abort")
    bites = [bench.orders.due(scan) for scan in range(30)]
    assert [len(bite) for bite in bites[18:21]] == [256, 137, 0]
    assert bites[19][0].verb == "abort"


def test_a_writer_frozen_inside_its_transaction_holds_nothing_up(bench: Bench) -> None:
    """As a page that hangs: what it has committed is seen, what it has not is not, and no scan waits."""
    lay(bench, "start")
    frozen = sqlite3.connect(bench.path, isolation_level=None)
    frozen.execute("BEGIN IMMEDIATE")
    frozen.execute("UPDATE commands SET verb = 'abort'")
    assert [command.verb for command in bench.orders.due(0)] == ["start"]
    frozen.execute("ROLLBACK")
    frozen.close()
    assert bench.told == []


def test_a_desk_that_is_busy_for_a_moment_is_nothing_to_tell(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who opens or closes it last holds it for a moment, many times a day."""
    monkeypatch.setattr("controller.runtime.desk._GRACE_NS", 3_600_000_000_000)
    lay(bench, "start")
    locked = sqlite3.connect(bench.path, isolation_level=None)
    locked.execute("PRAGMA locking_mode = EXCLUSIVE")
    locked.execute("BEGIN EXCLUSIVE")
    locked.execute("UPDATE commands SET seen = ''")
    assert [bench.orders.due(scan) for scan in range(5)] == [()] * 5
    locked.execute("COMMIT")
    locked.close()
    assert [command.verb for command in bench.orders.due(5)] == ["start"]
    assert bench.told == []
    assert bench.orders.troubles == 5


def test_a_locked_desk_is_no_order_told_once_and_over_when_it_is_over(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("controller.runtime.desk._GRACE_NS", 0)
    lay(bench, "start")
    locked = sqlite3.connect(bench.path, isolation_level=None)
    locked.execute("PRAGMA locking_mode = EXCLUSIVE")
    locked.execute("BEGIN EXCLUSIVE")
    locked.execute("UPDATE commands SET seen = ''")
    taken_s = []
    for scan in range(20):
        began_s = time.monotonic()
        assert bench.orders.due(scan) == ()
        taken_s.append(time.monotonic() - began_s)
    assert median(taken_s) < 0.05, "no scan waits for it; a busy machine may have held up a few"
    assert len(bench.told) == 1
    assert "control goes on" in bench.told[0].text
    locked.execute("COMMIT")
    locked.close()
    assert [command.verb for command in bench.orders.due(20)] == ["start"]
    assert [dict(event.data)["active"] for event in bench.told] == [True, False]


def drop(path: Path) -> None:
    for name in (path, path.with_name("desk.sqlite-wal"), path.with_name("desk.sqlite-shm")):
        name.unlink(missing_ok=True)


def overwrite(path: Path) -> None:
    path.write_bytes(os.urandom(20_000))


def truncate(path: Path) -> None:
    for name in (path, path.with_name("desk.sqlite-wal"), path.with_name("desk.sqlite-shm")):
        if name.exists():
            os.truncate(name, 100)


def fold(path: Path) -> None:
    """A directory where the file was."""
    drop(path)
    path.mkdir()


def recast(path: Path) -> None:
    """Another table under the same name, without types."""
    db = sqlite3.connect(path)
    db.executescript(
        "DROP TABLE commands; CREATE TABLE commands (number, id, verb, args, who, role, utc_ms, expires_ms, seen);"
        "INSERT INTO commands VALUES ('z', NULL, x'ff00', 7, 1.5, NULL, 'soon', 'later', NULL);"
    )
    db.close()


def endless(path: Path) -> None:
    """A view that never ends where the table was."""
    db = sqlite3.connect(path)
    db.executescript(
        "DROP TABLE commands; CREATE VIEW commands AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n)"
        " SELECT max(i) AS number, '' id, '' verb, '' args, '' who, '' role, 0 utc_ms, 0 expires_ms, '' seen FROM n;"
    )
    db.close()


@pytest.mark.parametrize("ruin", [drop, overwrite, truncate, fold, recast, endless])
def test_a_ruined_desk_never_stops_control_and_a_new_one_is_taken(bench: Bench, ruin: Callable[[Path], None]) -> None:
    lay(bench, "acknowledge")
    assert len(bench.orders.due(0)) == 1
    ruin(bench.path)
    began_s = time.thread_time()  # an endless look would be work, not waiting
    assert [bench.orders.due(scan) for scan in range(1, 30)] == [()] * 29
    assert time.thread_time() - began_s < 2.0
    if bench.path.is_dir():
        bench.path.rmdir()
    drop(bench.path)
    lay(bench, "stop")
    found = [command.verb for scan in range(30, 40) for command in bench.orders.due(scan)]
    assert found == ["stop"]
    assert len(bench.told) in (0, 2)


def test_a_desk_that_nobody_may_read_is_told(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any) -> Any:
        raise PermissionError("may not")

    monkeypatch.setattr("controller.runtime.desk.stamp", refuse)
    assert bench.orders.due(0) == ()
    assert "may not" in bench.told[0].text
    assert bench.orders.troubles == 1


def test_an_idle_desk_is_left_alone(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Once it has been unchanged for a while it is not even opened, until it changes."""
    lay(bench, "acknowledge")
    bench.orders.due(0)
    old_ns = time.time_ns() - 10_000_000_000
    for name in bench.folder.iterdir():
        os.utime(name, ns=(old_ns, old_ns))
    bench.orders.due(1)
    looks = []
    monkeypatch.setattr("controller.runtime.desk.peek_at_desk", lambda path: looks.append(path) or 1 / 0)
    assert bench.orders.due(2) == ()
    assert looks == []
    lay(bench, "stop")
    with pytest.raises(ZeroDivisionError):
        bench.orders.due(3)
