"""De-energised means alarm: whatever ends the controller, the device lets go of the healthy relay and lights its lamps.

Seen where the wire is: in the output block of the device, which shows what is in force.
"""

from __future__ import annotations

import select
import signal
import subprocess
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from pyModbusTCP.client import ModbusClient

from controller.runtime.session import Asked, Session, prepare
from controller.store.reader import Reader
from controller.store.verify import verify

Until = Callable[[Path, Callable[[Reader], bool]], None]

TELLING = ("YL-190", "YL-190H", "YC-192")  # beacon, its lamp for high priority, healthy relay
WELL, ALARM = (False, False, True), (True, True, False)
# `dewhold` in which something leaks once a file appears: no more address space, and whatever comes free in it is taken.
LEAKS = """
import resource, sys, threading, time
from pathlib import Path
def leak(sign, kept, sizes, sleep):
    while not sign.exists():
        sleep(0.01)
    used = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (used, resource.RLIM_INFINITY))
    while True:
        for size in sizes:
            try:
                while True:
                    kept.append(bytes(size))
            except MemoryError:
                pass
        sleep(0.05)
asked = (Path(sys.argv[1]), [], (2**20, 2**14, *range(480, 0, -16)), time.sleep)
threading.Thread(target=leak, args=asked, daemon=True).start()
from controller.cli.main import main
sys.exit(main(sys.argv[2:]))
"""


@pytest.fixture(scope="module")
def session() -> Session:
    return prepare(Asked(chamber="demo-north", recipe="gentle", mix="demo-60", load_t=120.0, mix_degC=20.0))


def shown(session: Session, port: int) -> tuple[bool, ...]:
    """What the device has on these terminals now."""
    client = ModbusClient(host="127.0.0.1", port=port, auto_open=True, timeout=5.0)
    with closing(client):
        points = {point.tag: point for point in session.bundle.points}
        found = [client.read_holding_registers(points[tag].address, 1) for tag in TELLING]
    assert all(found)
    return tuple(bool(words[0] >> points[tag].bit & 1) for tag, words in zip(TELLING, found, strict=True))


def comes_to(session: Session, port: int, wanted: tuple[bool, ...]) -> bool:
    """Look until the terminals are so; False when it takes three minutes."""
    deadline = time.monotonic() + 180.0
    while time.monotonic() < deadline:
        if shown(session, port) == wanted:
            return True
        select.select([], [], [], 0.05)
    return False


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGSTOP, signal.SIGTERM])
def test_a_controller_that_is_killed_hangs_or_is_ended_lets_go_of_the_healthy_relay(
    processes: Any, session: Session, until: Until, how: signal.Signals
) -> None:
    """At 3 x, so the device's watchdog of 10 s acts after 3.3 s of the wall; in order it is told at once."""
    _plant, port = processes.plant("--pace", "3")
    assert shown(session, port) == ALARM  # nobody controls yet
    run = processes.start("run", "--port", str(port), "--out", "out", "--scan", "0.25", "--start-now")
    assert comes_to(session, port, WELL)
    record = processes.folder / "out" / "record.sqlite"
    until(record, lambda reader: any(row.kind == "phase" for row in reader.journal()))
    run.send_signal(how)
    assert comes_to(session, port, ALARM)
    if how is signal.SIGSTOP:
        run.send_signal(signal.SIGCONT)
        # It was gone for longer than the watchdog, which is a trip: told, and shown until somebody resets it.
        until(record, lambda reader: any((row.kind, row.tag) == ("trip", "watchdog") for row in reader.journal()))
        assert comes_to(session, port, ALARM)
        assert run.poll() is None


def test_a_controller_without_memory_ends_safe_says_why_and_the_next_one_goes_on(
    processes: Any, session: Session, until: Until, quick_recipe: str
) -> None:
    """Whatever of its end still finds memory: outputs are safe, by its last block or by the device's watchdog."""
    _plant, port = processes.plant("--pace", "3")
    record, sign = processes.folder / "out" / "record.sqlite", processes.folder / "leak"
    same = ("run", "--port", str(port), "--out", "out", "--scan", "0.25", "--recipe", quick_recipe)
    run = processes.start(
        str(sign), *same, "--order", "start@0.5", program=("-c", LEAKS), stderr=subprocess.PIPE
    )
    until(record, lambda reader: any(row.data.get("to") == "running" for row in reader.journal(kind="state")))
    assert comes_to(session, port, WELL)
    sign.touch()
    _out, said = run.communicate(timeout=180)
    assert run.returncode == 3, said
    assert "no more memory to be had" in said or "MemoryError" in said
    assert comes_to(session, port, ALARM)
    again = processes.start(*same, "--hours", "0.001")
    assert again.wait(timeout=180) == 1
    with closing(Reader(record)) as reader:
        states = [row.data["to"] for row in reader.journal(kind="state")]
    assert states == ["running", "holding", "held"]
    assert verify(record) == []
