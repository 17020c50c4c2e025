"""De-energised means alarm: whatever ends the controller, the device lets go of the healthy relay and lights its lamps.

Seen where the wire is: in the output block of the device, which shows what is in force.
"""

from __future__ import annotations

import select
import signal
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from pyModbusTCP.client import ModbusClient

from controller.runtime.session import Asked, Session, prepare
from controller.store.reader import Reader

Until = Callable[[Path, Callable[[Reader], bool]], None]

TELLING = ("YL-190", "YL-190H", "YC-192")  # beacon, its lamp for high priority, healthy relay
WELL, ALARM = (False, False, True), (True, True, False)


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
    """Look until the terminals are so; False when it takes a minute."""
    deadline = time.monotonic() + 60.0
    while time.monotonic() < deadline:
        if shown(session, port) == wanted:
            return True
        select.select([], [], [], 0.05)
    return False


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGSTOP, signal.SIGTERM])
def test_a_controller_that_is_killed_hangs_or_is_ended_lets_go_of_the_healthy_relay(
    processes: Any, session: Session, until: Until, how: signal.Signals
) -> None:
    """At 10 x, so the device's watchdog of 10 s acts after one second of the wall; in order it is told at once."""
    _plant, port = processes.plant("--pace", "10")
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
