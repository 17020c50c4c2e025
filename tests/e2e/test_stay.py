"""A controller that stays: the record of each cycle ends with it, whole, summed up and sealed, and control goes on."""

from __future__ import annotations

import signal
from collections.abc import Callable
from pathlib import Path
from typing import Any

from controller.report.recorded import opened
from controller.store.desk import Desk, write_note
from controller.store.reader import CycleRow, Reader
from controller.store.verify import verify
from tests.e2e.test_desk import order

Until = Callable[[Path, Callable[[Reader], bool]], None]
SHORT = """
name = "short"
[[phases]]
kind = "hold"
floor_degC = 19.0
ceiling_degC = 30.0
rh_fog_below_pct = 90.0
rh_accept_pct = 80.0
fan_kg_per_s = 9.0
[phases.end]
time_h = 0.2
"""


def ran(reader: Reader) -> list[CycleRow]:
    started = reader.ran()
    return [row for row in reader.cycles() if row.cycle in started]


def summed_up(count: int) -> Callable[[Reader], bool]:
    return lambda reader: len([row for row in ran(reader) if row.summary]) >= count


def test_each_cycle_is_sealed_when_it_ends_and_control_goes_on(
    processes: Any, tmp_path: Path, until: Until
) -> None:
    _plant, port = processes.plant("--lockstep")
    out, recipe = tmp_path / "out", tmp_path / "short.toml"
    record = out / "record.sqlite"
    recipe.write_text(SHORT, encoding="utf-8")
    command = ("run", "--pace", "120", "--port", str(port), "--recipe", str(recipe), "--stay", "--out", str(out))
    first = processes.start(*command, "--start-now")
    until(record, lambda reader: bool(ran(reader)))
    with Desk(out / "desk.sqlite") as desk:
        write_note(desk, "ana", "operator", "door 3 drips")
    until(record, summed_up(1))
    with Reader(record) as reader:
        (one,) = ran(reader)
        scan = (reader.last_scan() or (0, 0))[0]
    assert one.summary is not None
    assert one.summary["finished"]
    assert "forecast_low" in one.summary["ready_h"], "the forecast as it stood at the start"
    assert verify(record) == []
    with opened(record) as found:  # what came after the cycle is no cycle to report
        assert (found.number, found.sealed) == (one.cycle, True)
        assert [row.data["note"] for row in found.journal if row.tag == "PEOPLE"] == ["door 3 drips"]
        assert found.journal[-1].data.get("to") == "complete"
    until(record, lambda reader: (reader.last_scan() or (0, 0))[0] > scan + 60)
    first.send_signal(signal.SIGKILL)  # nothing of it is lost, and nothing is summed up twice
    first.wait()
    with Reader(record) as reader:
        scan = (reader.last_scan() or (0, 0))[0]
    processes.start(*command)
    until(record, lambda reader: (reader.last_scan() or (0, 0))[0] > scan + 10)
    assert order(out, "reset", seen="complete").done
    assert order(out, "start", seen="idle", args={"load_t": 100.0}).done
    until(record, summed_up(2))
    with Reader(record) as reader:
        cycles = ran(reader)
    assert [row.summary["load_t"] for row in cycles if row.summary] == [120.0, 100.0]
    assert [row.summary == one.summary for row in cycles] == [True, False]
    assert verify(record) == []
