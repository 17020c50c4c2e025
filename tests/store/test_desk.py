"""The desk's file: an order happens once, bounds hold, nothing is half done, tables grow by scripts."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from controller.core.frames import Command
from controller.core.orders.commands import outcome as told
from controller.errors import StoreError
from controller.store import desk as module
from controller.store.desk import (
    Desk,
    Order,
    approve,
    ask,
    enter_charge,
    keep_recipe,
    outcome,
    wait_outcome,
    write_note,
)
from controller.store.desk_schema import MIGRATIONS, migrate, open_desk, peek_at_desk
from controller.store.reader import Reader

Make = Callable[..., Any]


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with Desk(tmp_path / "desk.sqlite") as made:
        yield made


def test_an_order_lies_at_the_desk_with_all_that_was_said(desk: Desk) -> None:
    id_ = ask(desk, Order(verb="start", who="ana", role="operator", args={"b": 2.5, "a": "x"}, seen="idle"))
    row = desk.rows("SELECT id, verb, args, who, role, seen, expires_ms - utc_ms FROM commands")
    assert row == [(id_, "start", '{"a": "x", "b": 2.5}', "ana", "operator", "idle", 30_000)]


def test_the_same_order_given_again_under_one_id_is_one_order(desk: Desk) -> None:
    order = Order(verb="stop", who="ana", id="page-7")
    assert ask(desk, order) == ask(desk, order) == "page-7"
    assert desk.rows("SELECT count(*) FROM commands") == [(1,)]
    with pytest.raises(StoreError, match="another order has the id page-7"):
        ask(desk, Order(verb="start", who="ana", id="page-7"))


@pytest.mark.parametrize(
    ("order", "said"),
    [
        (Order(verb="", who="ana"), "needs a verb"),
        (Order(verb="stop", who="  "), "the name of who gives it"),
        (Order(verb="stop", who="a" * 101), "101 characters, at most 100"),
        (Order(verb="stop", who="ana", expires_s=601.0), "at most 600 s"),
        (Order(verb="stop", who="ana", expires_s=0.0), "above 0"),
        (Order(verb="stop", who="ana", args={"text": "x" * 5000}), "at most 4096"),
        (Order(verb="stop", who="ana", args={"hours": float("nan")}), r"no finite number \(hours nan\)"),
        (Order(verb="stop", who="ana", args={"what": None}), "what of an order is a NoneType"),  # type: ignore[dict-item]
    ],
)
def test_an_order_that_cannot_be_meant_is_not_taken(desk: Desk, order: Order, said: str) -> None:
    with pytest.raises(StoreError, match=said):
        ask(desk, order)
    assert desk.rows("SELECT count(*) FROM commands") == [(0,)]


def test_a_sender_that_has_lost_its_way_is_slowed_down_and_others_are_not(desk: Desk) -> None:
    for number in range(module.PER_MINUTE_MAX):
        ask(desk, Order(verb="acknowledge", who="gateway", id=f"g{number}"))
    with pytest.raises(StoreError, match="gateway gave 120 orders in a minute"):
        ask(desk, Order(verb="acknowledge", who="gateway"))
    ask(desk, Order(verb="abort", who="ana"))


def test_what_fails_half_way_leaves_nothing(desk: Desk) -> None:
    with pytest.raises(StoreError, match="nothing was ordered"), desk.writing() as db:
        db.execute("INSERT INTO notes (utc_ms, who, role, about, text) VALUES (1, 'ana', '', '', 'x')")
        db.execute("INSERT INTO no_such_table VALUES (1)")
    assert desk.rows("SELECT count(*) FROM notes") == [(0,)]


def test_recipes_notes_and_charges_are_kept(desk: Desk) -> None:
    digest = keep_recipe(desk, "gentle", "name = 'gentle'\n", "ana", why="first")
    assert keep_recipe(desk, "gentle", "name = 'gentle'\n", "ben") == digest
    approve(desk, digest, "ben", "supervisor")
    assert desk.rows("SELECT who, text FROM recipe_versions") == [("ana", "name = 'gentle'\n")]
    assert desk.rows("SELECT sha256, who, withdrawn FROM approvals") == [(digest, "ben", 0)]
    with pytest.raises(StoreError, match="FOREIGN KEY"):
        approve(desk, "0" * 64, "ben", "supervisor")
    assert write_note(desk, "ana", "operator", "door 2 squeaks", "ZS-102") == 1
    assert enter_charge(desk, "ana", {"load_t": 80.0}) == 1


def test_an_outcome_is_read_from_the_journal_by_its_id(path: Path, make_recorder: Make, make_scan: Make) -> None:
    recorder = make_recorder(every_scan=True)
    events = (told(Command("a", "start", "ana"), "no air"), told(Command("b", "stop", "ana")))
    recorder.add(make_scan(1, *events))
    recorder.commit()
    with Reader(path) as reader:
        refused, done = outcome(reader, "a"), outcome(reader, "b")
        assert refused is not None and (refused.done, refused.reason, refused.scan) == (False, "no air", 1)
        assert done is not None and (done.done, done.reason, done.line) == (True, "", 2)
        assert outcome(reader, "c") is None
        assert outcome(reader, "a", after_line=1) is None
        assert wait_outcome(reader, "b", 5.0) == done
        assert wait_outcome(reader, "c", 0.0) is None


def test_tables_grow_by_the_scripts_a_file_has_not_had(tmp_path: Path) -> None:
    path = tmp_path / "desk.sqlite"
    open_desk(path).close()
    db = open_desk(path)
    more = (*MIGRATIONS, "CREATE TABLE x (a TEXT); INSERT INTO x VALUES ('one; two');")
    assert migrate(db, path, more) == 1
    assert migrate(db, path, more) == 0
    assert db.execute("SELECT a FROM x").fetchall() == [("one; two",)]
    with pytest.raises(sqlite3.OperationalError):
        migrate(db, path, (*more, "CREATE TABLE y (a TEXT); CREATE TABLE x (a TEXT);"))
    assert not db.in_transaction
    assert db.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'y'").fetchone() == (0,)
    db.close()
    with pytest.raises(StoreError, match="written by a newer version"):
        open_desk(path)
    peek_at_desk(path).close()  # control reads it all the same


def test_a_file_of_another_program_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "desk.sqlite"
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE theirs (a TEXT)")
    db.close()
    with pytest.raises(StoreError, match="not a desk of Dewhold"):
        open_desk(path)
    with pytest.raises(StoreError, match="not a desk of Dewhold"):
        peek_at_desk(path)


def test_a_look_can_write_nothing(desk: Desk) -> None:
    db = peek_at_desk(desk.path)
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        db.execute("DELETE FROM commands")
    db.close()


def test_a_full_disk_is_told_to_who_orders_and_nothing_is_half_written(desk: Desk) -> None:
    ask(desk, Order(verb="stop", who="ana"))
    with desk.writing() as db:
        pages = db.execute("PRAGMA page_count").fetchone()[0]
    desk._db.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(StoreError, match=r"full.*nothing was ordered"):
        for number in range(200):
            ask(desk, Order(verb="stop", who=f"p{number}", args={"reason": "x" * 4000}))
    kept = desk.rows("SELECT count(*) FROM commands")[0][0]
    assert peek_at_desk(desk.path).execute("SELECT count(*) FROM commands").fetchone() == (kept,)
    desk._db.execute("PRAGMA max_page_count = 1000000")
    ask(desk, Order(verb="abort", who="ana"))
