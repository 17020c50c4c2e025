"""A controller is killed in a hold and started again against its device, each a process of its own."""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from controller.link.device import Device
from controller.link.modbus import ModbusLink
from controller.runtime.session import Asked, Session, prepare
from controller.store.reader import JournalRow, Reader
from controller.store.verify import verify

FAR = 60_000  # where another controller left the heartbeat of the device; it wraps at 65,536
Until = Callable[[Path, Callable[[Reader], bool]], None]


@pytest.fixture(scope="module")
def session() -> Session:
    return prepare(Asked(chamber="demo-north", recipe="gentle", mix="demo-60", load_t=120.0, mix_degC=20.0))


def header_of(session: Session, port: int, *, write: bool = False) -> dict[str, int]:
    """The device's own words; write: first give it one safe block with heartbeat FAR."""
    device: Device = replace(session.device, host="127.0.0.1", port=port)
    link = ModbusLink(
        device, input_count=session.image.input_count, output_count=session.image.output_count, lockstep=True
    )
    with closing(link):
        if write:
            link.write([FAR, 1000, 5000, 0, 0, 1])
        words = link.read()
    return {"counter": words[2] << 16 | words[3], "echo": words[5], "stale": words[6], "trips": words[7]}


def in_hold(reader: Reader) -> bool:
    return any(row.data.get("kind") == "hold" for row in reader.journal(kind="phase"))


def journal_of(record: Path) -> list[JournalRow]:
    with closing(Reader(record)) as reader:
        return reader.journal()


def frames_of(record: Path) -> list[int]:
    with closing(Reader(record)) as reader:
        return [frame.scan for frame in reader.frames()]


def test_killed_and_started_again_goes_on_with_a_stopped_clock(
    processes: Any, tmp_path: Path, quick_recipe: str, session: Session, until: Until
) -> None:
    """Lockstep at 60 x: kill -9 in the hold; the next one goes on from echo and record; a person restarts."""
    _plant, port = processes.plant("--lockstep")
    assert header_of(session, port, write=True)["echo"] == FAR
    record = tmp_path / "out" / "record.sqlite"
    same = ("run", "--port", str(port), "--recipe", quick_recipe, "--out", "out", "--pace", "60")
    first = processes.start(*same, "--start-now")
    until(record, in_hold)
    first.send_signal(signal.SIGKILL)
    first.wait()
    before, scans = header_of(session, port), frames_of(record)
    assert before["echo"] > FAR
    assert before["stale"] == 0
    assert scans == list(range(len(scans)))
    known = len(journal_of(record))

    second = processes.start(*same, "--hours", "0.05", "--order", "restart@30")
    assert second.wait(timeout=180) == 1
    rows = journal_of(record)[known:]
    assert [row.data["verb"] for row in rows if row.kind == "order"] == ["hold", "restart"]
    assert [row.data["outcome"] for row in rows if row.kind == "command"] == ["done", "done"]
    assert [row.tag for row in rows if row.kind == "note"] == ["OUTAGE"]
    moves = [(row.data["from"], row.data["to"]) for row in rows if row.kind == "state"]
    assert moves[:3] == [("running", "holding"), ("holding", "held"), ("held", "restarting")]
    held = {row.scan for row in rows if row.kind == "state" and row.data["to"] in ("held", "restarting")}
    assert max(held) - min(held) >= 28  # it stood still until told to go on
    after, scans = header_of(session, port), frames_of(record)
    assert after["stale"] == 0
    assert after["trips"] == 0
    assert after["counter"] - before["counter"] == 180 + 1  # 0.05 h, and the safe block at the end
    assert scans == list(range(scans[-1] + 1))
    assert verify(record) == []


def test_a_controller_that_knows_nothing_goes_on_from_the_echo(
    processes: Any, tmp_path: Path, session: Session
) -> None:
    """An empty folder and a device with a heartbeat far ahead, over its wrap: every block is taken."""
    _plant, port = processes.plant("--lockstep")
    header_of(session, port, write=True)
    run = processes.start("run", "--port", str(port), "--out", "new", "--lockstep", "--hours", "1.6", "--json")
    assert run.wait(timeout=180) == 1
    after = header_of(session, port)
    assert after == {"counter": 1 + 5760 + 1, "echo": (FAR + 5761) % 65536, "stale": 0, "trips": 0}


def test_real_time_kill_and_restart_within_the_watchdog(
    processes: Any, tmp_path: Path, session: Session, until: Until
) -> None:
    """Scan of 0.25 s, threaded recorder: killed while running, back in time, then ended by SIGTERM in order."""
    _plant, port = processes.plant("--scan", "0.25")
    record = tmp_path / "out" / "record.sqlite"
    same = ("run", "--port", str(port), "--out", "out", "--scan", "0.25")

    def runs(reader: Reader) -> bool:
        return any(row.data.get("to") == "running" for row in reader.journal(kind="state"))

    def held(reader: Reader) -> bool:
        return any(row.data.get("to") == "held" for row in reader.journal(kind="state"))

    first = processes.start(*same, "--order", "start@0.5")
    until(record, runs)
    first.send_signal(signal.SIGKILL)
    first.wait()
    second = processes.start(*same, stderr=subprocess.PIPE)
    until(record, held)
    second.send_signal(signal.SIGTERM)
    output, errors = second.communicate(timeout=180)
    assert second.returncode == 130
    assert "the cycle is not over (held); run again with --out out" in output
    assert "no controller from" in errors
    device = header_of(session, port)
    assert (device["stale"], device["trips"]) == (0, 0)
    scans = frames_of(record)
    assert scans == list(range(len(scans)))
    assert verify(record) == []


def test_away_for_longer_than_the_watchdog_needs_a_person(
    processes: Any, tmp_path: Path, session: Session, until: Until
) -> None:
    """A device at 2.5 x (its watchdog: 4 s of the wall) has put itself safe: reset first, then restart."""
    _plant, port = processes.plant("--pace", "2.5")
    record = tmp_path / "out" / "record.sqlite"
    same = ("run", "--port", str(port), "--out", "out", "--scan", "0.25")
    first = processes.start(*same, "--order", "start@0.5")
    until(record, lambda reader: any(row.data.get("to") == "running" for row in reader.journal(kind="state")))
    first.send_signal(signal.SIGKILL)
    first.wait()
    while header_of(session, port)["trips"] == 0:
        pass
    known = len(journal_of(record))
    orders = ("--order", "restart@1", "--order", "reset-trips@2", "--order", "restart@3")
    second = processes.start(*same, *orders, "--hours", "0.001")
    assert second.wait(timeout=180) == 1
    rows = journal_of(record)[known:]
    assert [row.tag for row in rows if row.kind == "trip"] == ["watchdog"]
    outcomes = [row.text for row in rows if row.kind == "command" and "command line" in row.text]
    assert "restart by command line: refused, a protection still acts" in outcomes[0]
    assert outcomes[1:] == ["reset-trips by command line: done", "restart by command line: done"]
