"""The computer misbehaves, as processes: stopped, starved, clock moved, files damaged or edited, disk slow."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import threading
from collections.abc import Callable
from contextlib import closing
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from controller.store.reader import JournalRow, Reader
from controller.store.verify import verify

Until = Callable[[Path, Callable[[Reader], bool]], None]
HOUR_S = 3600.0
# `dewhold` with a wall clock that a file moves by so many seconds; the monotonic clock stays as it is.
MOVED = """
import sys, time
from pathlib import Path
path, real = Path(sys.argv[1]), time.time_ns
time.time_ns = lambda: real() + int(1e9 * float(path.read_text() or 0))
from controller.cli.main import main
sys.exit(main(sys.argv[2:]))
"""


def rows_of(record: Path) -> list[JournalRow]:
    with closing(Reader(record)) as reader:
        return reader.journal()


def stamps_of(record: Path) -> tuple[list[int], list[int]]:
    """(scan, UTC in ms) of every frame."""
    with closing(Reader(record)) as reader:
        frames = list(reader.frames())
    return [frame.scan for frame in frames], [frame.utc_ms for frame in frames]


def scans(reader: Reader) -> int:
    return (reader.last_scan() or (-1, 0))[0]


def after(count: int) -> Callable[[Reader], bool]:
    return lambda reader: scans(reader) > count


def alarm(tag: str, what: str = "comes") -> Callable[[Reader], bool]:
    return lambda reader: any(
        row.tag == tag and row.data.get("what") == what for row in reader.journal(kind="alarm")
    )


def newest(record: Path) -> int:
    with closing(Reader(record)) as reader:
        return scans(reader)


def test_stopped_for_longer_than_the_watchdog_it_goes_on_without_haste_and_waits_for_a_person(
    processes: Any, tmp_path: Path, until: Until
) -> None:
    """A device at 4 x: its watchdog of 10 s is 2.5 s of the wall. Control is stopped for twice as long."""
    _plant, port = processes.plant("--pace", "4")
    record = tmp_path / "out" / "record.sqlite"
    run = processes.start("run", "--port", str(port), "--out", "out", "--scan", "0.25", "--order", "start@0.5")
    until(record, lambda reader: any(row.data.get("to") == "running" for row in reader.journal(kind="state")))
    run.send_signal(signal.SIGSTOP)
    threading.Event().wait(5.0)  # nothing can be watched: what stands still is what is tried
    run.send_signal(signal.SIGCONT)
    until(record, lambda reader: any(row.tag == "watchdog" for row in reader.journal(kind="trip")))
    until(record, alarm("scan-late"))
    assert [row for row in rows_of(record) if row.tag == "SCAN"] != []
    seen, stamps = stamps_of(record)
    assert seen == list(range(len(seen)))
    assert max(b - a for a, b in pairwise(stamps)) > 4000  # the gap is there for all to see
    # scans that were missed are left out, not made up for: 16 of them at least, of four a second
    assert len(stamps) < (stamps[-1] - stamps[0]) / 250 - 12
    run.send_signal(signal.SIGTERM)
    assert run.wait(timeout=180) == 130
    assert verify(record) == []


def test_starved_it_says_that_it_is_late_and_goes_on(processes: Any, tmp_path: Path, until: Until) -> None:
    """Other programs take the processor again and again for longer than a scan."""
    _plant, port = processes.plant("--scan", "0.25")
    record = tmp_path / "out" / "record.sqlite"
    run = processes.start("run", "--port", str(port), "--out", "out", "--scan", "0.25")
    until(record, after(3))
    for _turn in range(4):
        run.send_signal(signal.SIGSTOP)
        threading.Event().wait(0.6)
        run.send_signal(signal.SIGCONT)
        known = newest(record)
        until(record, after(known))
    until(record, alarm("scan-late"))
    assert [row.kind for row in rows_of(record) if row.kind in ("trip", "invariant")] == []
    seen, _stamps = stamps_of(record)
    assert seen == list(range(len(seen)))
    assert run.poll() is None


@pytest.mark.parametrize("step_s", [HOUR_S, -HOUR_S], ids=["forward", "back"])
def test_a_step_of_the_wall_clock_moves_stamps_and_nothing_else(
    processes: Any, tmp_path: Path, until: Until, step_s: float
) -> None:
    """An hour while it runs: no scan is missed, late or twice. Ended and begun again an hour earlier by the wall clock,
    the outage cannot be measured: the cycle is aborted."""
    _plant, port = processes.plant("--scan", "0.25")
    record, clock = tmp_path / "out" / "record.sqlite", tmp_path / "clock"
    clock.write_text("0", encoding="utf-8")
    arguments = ("run", "--port", str(port), "--out", "out", "--scan", "0.25")
    run = processes.start(str(clock), *arguments, "--order", "start@0.5", program=("-c", MOVED))
    until(record, after(8))
    clock.write_text(str(step_s), encoding="utf-8")
    known = newest(record)
    until(record, after(known + 8))
    run.send_signal(signal.SIGKILL)  # in order, the last minute would become a block, which has one stamp
    run.wait()
    rows = rows_of(record)
    assert [row.kind for row in rows if row.kind in ("trip", "invariant")] == []
    assert [row.text for row in rows if row.tag == "SCAN" and row.data["late_s"] > 60.0] == []
    assert not any(row.data.get("to") in ("holding", "aborting") for row in rows if row.kind == "state")
    seen, stamps = stamps_of(record)
    assert seen == list(range(len(seen)))
    steps = [b - a for a, b in pairwise(stamps)]
    assert sum(abs(one - 1000 * step_s) < 5000 for one in steps) == 1

    clock.write_text(str(step_s - 2 * HOUR_S), encoding="utf-8")
    again = processes.start(str(clock), *arguments, "--hours", "0.001", program=("-c", MOVED))
    assert again.wait(timeout=180) == 1
    rows = rows_of(record)
    told = next(row for row in rows if row.tag == "OUTAGE")
    assert "the computer's clock was set back, check its time" in told.text
    assert any(row.data.get("to") == "aborting" for row in rows if row.kind == "state")
    assert verify(record) == []


def test_summer_time_is_no_step_at_all(processes: Any, tmp_path: Path, until: Until) -> None:
    """Local clocks go from 2:00 to 3:00 on 29 March 2026 at 1:00 UTC: a run over it, and an outage over it."""
    _plant, port = processes.plant("--lockstep")
    record = tmp_path / "out" / "record.sqlite"
    same = ("run", "--port", str(port), "--out", "out", "--lockstep", "--hours", "0.01")
    zone = {"TZ": "CET-1CEST,M3.5.0,M10.5.0/3"}
    first = processes.start(*same, "--start", "2026-03-29T00:59:50", "--order", "start@2", environment=zone)
    assert first.wait(timeout=180) == 1
    assert processes.start(*same, environment=zone).wait(timeout=180) == 1
    seen, stamps = stamps_of(record)
    assert seen == list(range(72))
    assert {b - a for a, b in pairwise(stamps)} == {1000}
    assert stamps[0] == 1_774_745_990_000  # 2026-03-29 00:59:50 UTC
    outage = next(row for row in rows_of(record) if row.tag == "OUTAGE")
    assert outage.data["kind"] == "short"


@pytest.fixture
def stopped_cycle(processes: Any, tmp_path: Path, until: Until) -> tuple[Path, tuple[str, ...]]:
    """A cycle whose controller was killed: (its folder, the command that goes on with it)."""
    _plant, port = processes.plant("--lockstep")
    recipe = tmp_path / "mine.toml"
    recipe.write_text(GENTLE, encoding="utf-8")
    same = ("run", "--port", str(port), "--out", "out", "--pace", "50", "--recipe", str(recipe))
    run = processes.start(*same, "--order", "start@1")
    until(tmp_path / "out" / "record.sqlite", lambda reader: any(
        row.data.get("to") == "running" for row in reader.journal(kind="state")
    ))
    run.send_signal(signal.SIGKILL)
    run.wait()
    return tmp_path / "out", same


GENTLE = """
name = "mine"
[[phases]]
kind = "rest"
floor_degC = 20.5
ceiling_degC = 30.0
rh_fog_below_pct = 90.0
rh_accept_pct = 80.0
fan_kg_per_s = 9.0
[phases.end]
time_h = 20.0
"""


def refused(processes: Any, same: tuple[str, ...], code: int) -> str:
    """Words with which a controller does not start, and no traceback."""
    run = processes.start(*same, stderr=subprocess.PIPE)
    _output, errors = run.communicate(timeout=180)
    assert run.returncode == code
    assert "Traceback" not in errors
    return str(errors)


def test_a_saved_state_that_cannot_be_used_is_refused_and_kept(
    processes: Any, stopped_cycle: tuple[Path, tuple[str, ...]]
) -> None:
    """Damaged, or of another version of the program: a person decides, the record stays as it is."""
    out, same = stopped_cycle
    with closing(sqlite3.connect(out / "record.sqlite")) as db:
        db.execute("UPDATE checkpoint SET state = replace(state, 'running', 'jogging')")
        db.commit()
    before = rows_of(out / "record.sqlite")
    said = refused(processes, same, 3)
    assert "the checkpoint does not fit this version of the program (it knows no state 'jogging')" in said
    assert "give another --out and keep the old record" in said
    assert rows_of(out / "record.sqlite") == before
    assert verify(out / "record.sqlite") == []


def test_a_damaged_record_is_refused_and_the_same_cycle_can_be_begun_elsewhere(
    processes: Any, stopped_cycle: tuple[Path, tuple[str, ...]]
) -> None:
    """Blocks of the disk were overwritten. It says so and changes nothing; with another folder control begins."""
    out, same = stopped_cycle
    record = out / "record.sqlite"
    with closing(sqlite3.connect(record)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    damaged = bytearray(record.read_bytes())
    damaged[:16384] = os.urandom(16384)
    record.write_bytes(damaged)
    assert f"the record {record.relative_to(out.parent)} cannot be read" in refused(processes, same, 3)
    assert record.read_bytes() == damaged
    elsewhere = [word if word != "out" else "other" for word in same]
    assert processes.start(*elsewhere, "--hours", "0.01").wait(timeout=180) == 1
    assert verify(out.parent / "other" / "record.sqlite") == []


def test_files_edited_while_a_cycle_runs_change_nothing_and_are_refused_afterwards(
    processes: Any, stopped_cycle: tuple[Path, tuple[str, ...]], until: Until
) -> None:
    out, same = stopped_cycle
    record, recipe = out / "record.sqlite", out.parent / "mine.toml"
    run = processes.start(*same)
    known = newest(record)
    until(record, after(known + 5))
    recipe.write_text(GENTLE.replace("20.5", "24.5"), encoding="utf-8")
    known = newest(record)
    until(record, after(known + 60))
    run.send_signal(signal.SIGTERM)
    assert run.wait(timeout=180) == 130
    with closing(Reader(record)) as reader:
        assert reader.header().texts["recipe"] == GENTLE
        assert len(reader.cycles()) == 1
    said = refused(processes, same, 2)
    assert "must stay the text in the record: a cycle is in progress there" in said
    recipe.write_text(GENTLE, encoding="utf-8")
    assert processes.start(*same, "--hours", "0.001").wait(timeout=180) == 1


@pytest.mark.bench  # in time or not: to be tried alone, when only the disk is slow
@pytest.mark.skipif(shutil.which("strace") is None, reason="no strace (Debian: apt-get install strace)")
def test_a_slow_disk_delays_no_scan(processes: Any, tmp_path: Path, until: Until) -> None:
    """Every sync takes 0.6 s, more than two scans; orders come all the while, so every commit syncs."""
    from crashpoints.tracing import unavailable

    if why := unavailable():
        pytest.skip(why)
    _plant, port = processes.plant("--scan", "0.25")
    record = tmp_path / "out" / "record.sqlite"
    orders = [word for number in range(20) for word in ("--order", f"acknowledge@{4 + 0.5 * number:g}")]
    run = processes.start("run", "--port", str(port), "--out", "out", "--scan", "0.25", "--hours", "0.005", *orders)
    until(record, after(2))
    slow = "inject=fsync,fdatasync:delay_enter=600000"
    strace = subprocess.Popen(
        ["strace", "-f", "-q", "-o", str(tmp_path / "strace.log"), "-e", "trace=fsync,fdatasync", "-e", slow, "-p",
         str(run.pid)], stderr=subprocess.DEVNULL,
    )  # fmt: skip
    assert run.wait(timeout=180) == 0 or run.returncode == 1
    strace.wait(timeout=180)
    assert (tmp_path / "strace.log").read_text(encoding="utf-8").count("(DELAYED)") >= 8
    seen, _stamps = stamps_of(record)
    assert seen == list(range(72))
    rows = rows_of(record)
    assert len([row for row in rows if row.kind == "command"]) == 20
    assert not any(row.tag == "scan-late" for row in rows)
    assert verify(record) == []
