"""What systemd is told: ready after something was done, alive while it is, and nothing where nobody listens."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.runtime.notify import Notifier


class Manager:
    """The other end of the socket."""

    def __init__(self, path: str) -> None:
        self.path = path
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind("\0" + path[1:] if path.startswith("@") else path)
        self._socket.setblocking(False)

    def heard(self) -> list[str]:
        found = []
        while True:
            try:
                found.append(self._socket.recv(4096).decode())
            except BlockingIOError:
                return found

    def close(self) -> None:
        self._socket.close()


@pytest.fixture(params=["a file", "an abstract name"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Manager]:
    made = Manager(str(tmp_path / "notify") if request.param == "a file" else f"@dewhold-test-{os.getpid()}")
    yield made
    made.close()


class Clock:
    now = 100.0

    def __call__(self) -> float:
        return self.now


def test_nobody_listens_and_nothing_happens() -> None:
    notifier = Notifier({})
    assert not notifier.wanted
    notifier.alive(lambda: pytest.fail("nobody asked what it does"))
    notifier.stopping()
    notifier.close()


def test_ready_comes_with_the_first_thing_done_and_only_once(manager: Manager) -> None:
    notifier = Notifier({"NOTIFY_SOCKET": manager.path})
    assert notifier.wanted
    assert manager.heard() == []
    notifier.alive(lambda: "scan 1\nair 20 degC")
    notifier.alive(lambda: "scan 2")
    assert manager.heard() == ["READY=1\nSTATUS=scan 1 air 20 degC"]
    notifier.stopping()
    assert manager.heard() == ["STOPPING=1"]
    notifier.close()
    notifier.stopping()
    assert manager.heard() == []


def test_signs_of_life_come_three_times_within_the_watchdogs_time_and_only_for_what_was_done(manager: Manager) -> None:
    clock = Clock()
    notifier = Notifier({"NOTIFY_SOCKET": manager.path, "WATCHDOG_USEC": "20000000"}, clock)
    sent = []
    for scan in range(41):
        clock.now = 100.0 + scan
        notifier.alive(lambda: "at work")
        sent += [scan for text in manager.heard() if "WATCHDOG=1" in text]
    assert sent == [0, 6, 12, 18, 24, 30, 36]
    clock.now = 500.0  # nothing is done any more
    assert manager.heard() == []
    notifier.close()


@pytest.mark.parametrize("changes", [{"WATCHDOG_PID": "1"}, {"WATCHDOG_USEC": "soon"}, {"WATCHDOG_USEC": "0"}])
def test_a_watchdog_of_another_process_is_not_fed(manager: Manager, changes: dict[str, str]) -> None:
    notifier = Notifier({"NOTIFY_SOCKET": manager.path, "WATCHDOG_USEC": "1000000", **changes})
    notifier.alive(lambda: "at work")
    assert "WATCHDOG" not in "".join(manager.heard())
    notifier.close()


def test_the_watchdog_of_this_process_is(manager: Manager) -> None:
    known = {"NOTIFY_SOCKET": manager.path, "WATCHDOG_USEC": "1000000", "WATCHDOG_PID": str(os.getpid())}
    notifier = Notifier(known)
    notifier.alive(lambda: "at work")
    assert "WATCHDOG=1" in manager.heard()[0]
    notifier.close()


def test_a_manager_that_reads_nothing_or_is_gone_holds_nothing_up(manager: Manager) -> None:
    """Ten thousand messages fill any queue."""
    clock = Clock()
    notifier = Notifier({"NOTIFY_SOCKET": manager.path, "WATCHDOG_USEC": "1"}, clock)
    for number in range(10_000):
        clock.now = float(number)
        notifier.alive(lambda: "at work")
    manager.close()
    notifier.alive(lambda: "at work")
    notifier.stopping()
    notifier.close()
    assert not notifier.wanted
