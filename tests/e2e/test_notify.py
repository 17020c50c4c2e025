"""`dewhold run` and `dewhold callout` as systemd sees them: ready after a first scan, alive only while scans go on."""

from __future__ import annotations

import re
import select
import signal
import socket
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

PATIENCE_S = 90.0


class Manager:
    """The socket that a service tells things to."""

    def __init__(self, path: Path) -> None:
        self.path = str(path)
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(self.path)

    def next(self, wait_s: float = PATIENCE_S) -> str | None:
        """The next message, None when none comes."""
        if not select.select([self._socket], [], [], wait_s)[0]:
            return None
        return self._socket.recv(4096).decode()

    def drain(self) -> None:
        while self.next(0.0) is not None:
            pass

    def environment(self, watchdog_s: float) -> dict[str, str]:
        return {"NOTIFY_SOCKET": self.path, "WATCHDOG_USEC": str(round(1e6 * watchdog_s))}


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[Manager]:
    made = Manager(tmp_path / "notify")
    yield made
    made._socket.close()


def test_ready_after_the_first_scan_alive_while_scans_go_on_and_silent_when_they_do_not(
    processes: Any, tmp_path: Path, manager: Manager
) -> None:
    """Alive every 0.3 s; a program that stands still says nothing, goes on when it goes on, and says when it ends."""
    _plant, port = processes.plant("--scan", "0.25")
    run = processes.start(
        "run", "--port", str(port), "--out", "out", "--scan", "0.25", environment=manager.environment(1.0)
    )
    first = manager.next()
    assert first is not None
    ready, alive, status = first.split("\n")
    assert (ready, alive) == ("READY=1", "WATCHDOG=1")
    assert status.startswith("STATUS=0.00 h idle; air ")
    assert (tmp_path / "out" / "record.sqlite").exists()
    came = [(manager.next(), time.monotonic()) for _ in range(5)]
    assert all(text is not None and "WATCHDOG=1" in text for text, _at in came)
    assert min(later - earlier for (_, earlier), (_, later) in pairwise(came)) < 1.0, "in time for the watchdog"
    run.send_signal(signal.SIGSTOP)
    time_to_stop = time.monotonic() + 1.0
    while time.monotonic() < time_to_stop:
        manager.next(0.1)
    manager.drain()
    assert manager.next(1.5) is None
    run.send_signal(signal.SIGCONT)
    assert "WATCHDOG=1" in (manager.next() or "")
    run.send_signal(signal.SIGTERM)
    found = ""
    while found is not None and "STOPPING=1" not in found:
        found = manager.next()
    assert found is not None
    assert run.wait(timeout=180) == 130


def test_without_a_device_it_never_says_that_it_is_ready(processes: Any, manager: Manager) -> None:
    run = processes.start("run", "--port", "1", "--out", "out", environment=manager.environment(1.0))
    assert run.wait(timeout=180) == 3
    assert manager.next(0.0) is None


def test_scans_go_on_without_the_panel_and_are_a_sign_of_life(processes: Any, manager: Manager) -> None:
    """The chamber stands still: control goes on with old values, trips and alarms; a new start would not mend that."""
    plant, port = processes.plant("--scan", "0.25")
    processes.start("run", "--port", str(port), "--out", "out", "--scan", "0.25", environment=manager.environment(1.0))
    assert manager.next() is not None
    plant.send_signal(signal.SIGSTOP)
    manager.drain()
    for _ in range(4):
        assert "WATCHDOG=1" in (manager.next() or "")
    plant.send_signal(signal.SIGCONT)


def test_the_call_out_is_ready_after_its_first_look(processes: Any, manager: Manager) -> None:
    callout = processes.start("callout", "--data", "nowhere", environment=manager.environment(2.0))
    first = manager.next()
    assert first is not None
    # By day the daily test messages of the demo file wait to be sent, one a person; at night there are none.
    assert re.match(r"READY=1\nWATCHDOG=1\nSTATUS=watches 1 records; \d+ messages to send", first)
    assert "WATCHDOG=1" in (manager.next() or "")
    callout.send_signal(signal.SIGTERM)
    assert callout.wait(timeout=180) == 130
