"""A controller in a process of its own, commanded from a desk by another: the way a page and its tools do it."""

from __future__ import annotations

import json
import select
import signal
import sqlite3
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

from controller.store.desk import Desk, Order, Outcome, ask, keep_recipe, wait_outcome
from controller.store.reader import JournalRow, Reader
from controller.store.verify import verify

Until = Callable[[Path, Callable[[Reader], bool]], None]
PATIENCE_S = 60.0


def order(out: Path, verb: str, **more: Any) -> Outcome:
    """Give one order and wait for what becomes of it."""
    with Desk(out / "desk.sqlite") as desk, Reader(out / "record.sqlite") as reader:
        found = wait_outcome(reader, ask(desk, Order(verb=verb, who="ana", role="operator", **more)), PATIENCE_S)
    assert found is not None, f"no outcome of {verb}"
    return found


def came_to(reader: Reader, state: str) -> bool:
    return any(row.data["to"] == state for row in reader.journal(kind="state"))


def held(reader: Reader) -> bool:
    return came_to(reader, "held")


def outcomes(out: Path) -> list[JournalRow]:
    with Reader(out / "record.sqlite") as reader:
        return reader.journal(kind="command")


def test_orders_from_a_desk_happen_once_also_over_a_kill(
    processes: Any, tmp_path: Path, quick_recipe: str, until: Until
) -> None:
    """Start, refuse, kill -9, start again: orders taken before are not taken again, the file may come and go."""
    plant, port = processes.plant("--lockstep")
    out = tmp_path / "out"
    command = ("run", "--pace", "20", "--port", str(port), "--recipe", quick_recipe, "--out", str(out))
    first = processes.start(*command)
    until(out / "record.sqlite", lambda reader: (reader.last_scan() or (0, 0))[0] > 10)
    assert order(out, "start", seen="idle").done
    again = order(out, "start", seen="running")
    assert (again.done, "refused while running" in again.reason) == (False, True)
    assert "it is running now" in order(out, "pause", seen="idle").reason
    first.send_signal(signal.SIGKILL)
    first.wait()
    with Desk(out / "desk.sqlite") as desk:  # while nobody listens
        late = ask(desk, Order(verb="restart", who="ana", role="operator", expires_s=600.0))
    processes.start(*command)
    with Reader(out / "record.sqlite") as reader:
        found = wait_outcome(reader, late, PATIENCE_S)
    assert found is not None
    assert found.reason == "given before this controller began; look and give it again"
    until(out / "record.sqlite", held)
    assert order(out, "restart", seen="held").done
    for name in ("desk.sqlite", "desk.sqlite-wal", "desk.sqlite-shm"):
        (out / name).unlink(missing_ok=True)
    assert order(out, "stop", seen="running").done
    ids = Counter(row.data["id"] for row in outcomes(out))
    assert set(ids.values()) == {1}
    who = {row.data["who"] for row in outcomes(out)}
    assert who == {"ana", "restart"}
    assert plant.poll() is None


def test_a_recipe_from_the_desk_runs_on_after_a_kill(
    processes: Any, tmp_path: Path, quick_recipe: str, until: Until
) -> None:
    """The command line says gentle and 120 t, the start says otherwise; the record and the next controller know."""
    _plant, port = processes.plant("--lockstep")
    out = tmp_path / "out"
    command = ("run", "--stay", "--pace", "20", "--port", str(port), "--out", str(out))
    first = processes.start(*command)
    until(out / "record.sqlite", lambda reader: (reader.last_scan() or (0, 0))[0] > 10)
    with Desk(out / "desk.sqlite") as desk:
        digest = keep_recipe(desk, "quick", Path(quick_recipe).read_text(encoding="utf-8"), "ana")
    assert "no such version" in order(out, "start", args={"recipe": "0" * 64}).reason
    assert order(out, "start", args={"recipe": digest, "load_t": 80.0}).done
    first.send_signal(signal.SIGKILL)
    first.wait()
    second = processes.start(*command)
    until(out / "record.sqlite", held)
    assert order(out, "restart", seen="held").done
    with Reader(out / "record.sqlite") as reader:
        cycles = reader.cycles()
        assert [cycle.header.facts["recipe"] for cycle in cycles] == ["gentle", "quick"]
        assert cycles[1].header.facts["load_t"] == 80.0
        assert cycles[1].header.texts["recipe"] == Path(quick_recipe).read_text(encoding="utf-8")
    assert order(out, "abort").done
    until(out / "record.sqlite", lambda reader: came_to(reader, "aborted"))
    assert order(out, "reset").done
    second.send_signal(signal.SIGTERM)
    assert second.wait(PATIENCE_S) == 130
    assert verify(out / "record.sqlite") == []


def test_a_force_and_a_lock_by_the_command_line_and_a_desk_that_is_ruined_meanwhile(
    processes: Any, tmp_path: Path, quick_recipe: str, until: Until
) -> None:
    """What is set by hand stands in the record and makes the cycle deviate; no state of the desk stops a scan."""
    _plant, port = processes.plant("--lockstep")
    out = tmp_path / "out"
    command = ("run", "--stay", "--pace", "20", "--port", str(port), "--recipe", quick_recipe, "--out", str(out))
    control = processes.start(*command, environment={"PYTHONWARNINGS": "error"})
    until(out / "record.sqlite", lambda reader: (reader.last_scan() or (0, 0))[0] > 10)
    assert order(out, "start").done

    def said(*words: str) -> tuple[int, str]:
        process = processes.start("order", *words, "--out", str(out), "--who", "ana", "--role", "engineer")
        text, _ = process.communicate(timeout=PATIENCE_S)
        return process.returncode, text

    assert said("force", "tag=ZC-120", "value=30", "hours=1", "reason=stroke test") == (0, "force: done\n")
    assert said("bypass", "tag=door-open", "hours=1", "reason=x")[0] == 1
    assert said("lock-out", "reason=belt") == (0, "lock-out: done\n")
    assert "locked out by ana (engineer)" in said("--list")[1]
    code, text = said("reset-trips")
    assert (code, "locked out by ana (engineer): belt" in text) == (1, True)
    assert said("lift-lock") == (0, "lift-lock: done\n")
    for ruin in (flooded, locked, broken, gone):
        with Reader(out / "record.sqlite") as reader:
            before = (reader.last_scan() or (0, 0))[0]
        ruin(out / "desk.sqlite")
        until(out / "record.sqlite", lambda reader, least=before + 40: (reader.last_scan() or (0, 0))[0] > least)
        assert control.poll() is None
    assert order(out, "stop").done
    control.send_signal(signal.SIGTERM)
    control.wait(PATIENCE_S)
    with Reader(out / "record.sqlite") as reader:
        scans = [frame.scan for frame in reader.frames()]
        assert scans == list(range(len(scans)))
        told = [row for row in reader.journal(kind="alarm") if row.tag == "DESK"]
    assert any(row.data["active"] for row in told)
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert [(one["kind"], one["tag"]) for one in summary["by_hand"]] == [("force", "ZC-120"), ("lock-out", "lock-out")]
    assert "overridden by hand: ZC-120 forced, lock-out" in summary["reasons"]
    assert summary["invariants_broken"] == 0


def flooded(path: Path) -> None:
    with Desk(path) as desk, desk.writing() as db:
        db.executemany(
            "INSERT INTO commands (id, verb, args, who, role, utc_ms, expires_ms, seen)"
            " VALUES (?, 'acknowledge', '{}', 'mad', '', ?, ?, '')",
            [(f"flood-{number}", 2**42, 2**42 + 1) for number in range(2000)],
        )


def locked(path: Path) -> None:
    """By a program that holds everything for a while."""
    db = sqlite3.connect(path, isolation_level=None, timeout=10.0)
    db.execute("PRAGMA locking_mode = EXCLUSIVE")
    db.execute("BEGIN EXCLUSIVE")
    db.execute("DELETE FROM commands")
    select.select([], [], [], 1.0)
    db.execute("COMMIT")
    db.close()


def broken(path: Path) -> None:
    path.write_bytes(b"\xff" * 30_000)


def gone(path: Path) -> None:
    for name in ("desk.sqlite", "desk.sqlite-wal", "desk.sqlite-shm"):
        path.with_name(name).unlink(missing_ok=True)
