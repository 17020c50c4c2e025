"""A controller in a process of its own, commanded from a desk by another: the way a page and its tools do it."""

from __future__ import annotations

import signal
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


def held(reader: Reader) -> bool:
    return any(row.data["to"] == "held" for row in reader.journal(kind="state"))


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
    assert order(out, "reset").done
    second.send_signal(signal.SIGTERM)
    assert second.wait(PATIENCE_S) == 130
    assert verify(out / "record.sqlite") == []
