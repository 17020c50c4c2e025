"""Two controllers on one chamber, as processes: the second says why it does not start, the first notices nothing."""

from __future__ import annotations

import signal
import socket
import subprocess
import threading
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import pytest
from pyModbusTCP.client import ModbusClient

from controller.store.reader import Reader

Until = Callable[[Path, Callable[[Reader], bool]], None]


def two_free_ports() -> int:
    """The first of two ports in a row that nobody uses."""
    for _ in range(50):
        with closing(socket.socket()) as one, closing(socket.socket()) as other:
            one.bind(("127.0.0.1", 0))
            port: int = one.getsockname()[1]
            with suppress(OSError, OverflowError):
                other.bind(("127.0.0.1", port + 1))
                return port
    raise AssertionError("no two free ports in a row")


def scans(reader: Reader) -> int:
    return (reader.last_scan() or (-1, 0))[0]


WITHOUT_CLAIM = (
    "import sys, controller.runtime.sole as sole; sole.DeviceClaim.__enter__ = lambda self: self;"
    "from controller.cli.main import main; sys.exit(main(sys.argv[1:]))"
)


def refused(processes: Any, *arguments: str, **options: Any) -> str:
    """Text with which a controller does not start."""
    second = processes.start("run", *arguments, stderr=subprocess.PIPE, **options)
    _output, errors = second.communicate(timeout=180)
    assert second.returncode == 3
    return str(errors)


def test_the_second_controller_does_not_start_whatever_folder_it_is_given(
    processes: Any, tmp_path: Path, until: Until
) -> None:
    """The same folder; another folder; another name of the same address. Then the first is killed, and it may."""
    _plant, port = processes.plant("--scan", "0.25")
    record = tmp_path / "one" / "record.sqlite"
    same = ("--port", str(port), "--scan", "0.25")
    first = processes.start("run", *same, "--out", "one")
    until(record, lambda reader: scans(reader) > 4)
    folder = refused(processes, *same, "--out", "one")
    assert f"another controller (process {first.pid} on " in folder
    assert "uses one; two would fight over one chamber: stop that one first, or give another --out" in folder
    device = refused(processes, *same, "--out", "two")
    assert f"another controller (process {first.pid}) on this computer commands panel-a at 127.0.0.1:{port}" in device
    assert "localhost" in refused(processes, *same, "--host", "localhost", "--out", "two")
    assert not (tmp_path / "two").exists()
    with closing(Reader(record)) as reader:
        seen = scans(reader)
    until(record, lambda reader: scans(reader) > seen + 4)
    with closing(Reader(record)) as reader:
        # A busy machine may let the plant answer late; whoever shares the device would show otherwise.
        assert {row.data.get("kind", "timeout") for row in reader.journal() if row.kind == "link"} <= {"timeout"}
    first.send_signal(signal.SIGKILL)
    first.wait()
    processes.start("run", *same, "--out", "one")  # its lock file is left over and holds nobody up
    until(record, lambda reader: scans(reader) > seen + 12)


@pytest.fixture
def stranger() -> Any:
    """Writes a device as a controller on another computer would, until it is stopped."""
    stop = threading.Event()
    threads: list[threading.Thread] = []

    def begin(port: int, every_s: float) -> None:
        def write() -> None:
            with closing(ModbusClient(host="127.0.0.1", port=port, auto_open=True, timeout=5.0)) as client:
                heartbeat = 100
                while not stop.wait(every_s):
                    heartbeat += 1
                    client.write_multiple_registers(256, [heartbeat, 1000, 5000, 0, 0, 1])

        threads.append(threading.Thread(target=write))
        threads[-1].start()

    yield begin
    stop.set()
    for thread in threads:
        thread.join()


def test_a_controller_on_another_computer_shows_in_the_moving_heartbeat(
    processes: Any, tmp_path: Path, stranger: Any
) -> None:
    _plant, port = processes.plant()
    stranger(port, 0.2)
    threading.Event().wait(2.5)
    text = refused(processes, "--port", str(port), "--out", "out")
    assert f"another controller commands panel-a at 127.0.0.1:{port}: its heartbeat went from " in text
    assert "perhaps on another computer" in text
    assert not (tmp_path / "out").exists()


def test_a_panel_of_several_devices_shows_another_controller_too(processes: Any, tmp_path: Path, until: Until) -> None:
    """The second one knows of no claim, as one on another computer would not; the first notices nothing."""
    port = two_free_ports()
    processes.plant("--chamber", "demo-south", "--scan", "0.25", "--port", str(port))
    panel = ("--chamber", "demo-south", "--port", str(port), "--scan", "0.25")
    processes.start("run", *panel, "--out", "one")
    record = tmp_path / "one" / "record.sqlite"
    until(record, lambda reader: scans(reader) > 4)
    assert "on this computer commands io-b at " in refused(processes, *panel, "--out", "two")
    text = refused(processes, *panel, "--out", "two", program=("-c", WITHOUT_CLAIM))
    assert f"another controller commands io-b at 127.0.0.1:{port} and rtd-b at " in text
    assert "perhaps on another computer" in text
    assert not (tmp_path / "two").exists()
    with closing(Reader(record)) as reader:
        # A busy machine may let the plant answer late; whoever shares the device would show otherwise.
        assert {row.data.get("kind", "timeout") for row in reader.journal() if row.kind == "link"} <= {"timeout"}
