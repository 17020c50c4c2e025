"""`dewhold plant`: says where it listens and how to end it, ends in order, names what stands in its way."""

from __future__ import annotations

import csv
import os
import re
import select
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from controller.cli.main import main
from controller.rig.served.truthfile import TruthFile, is_truth
from plantsim.truth import COLUMNS

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60.0
Plant = tuple[subprocess.Popen[str], list[str]]


@pytest.fixture
def plant(tmp_path: Path) -> Iterator[Callable[..., Plant]]:
    """Start it; (process, the three lines it greets with)."""
    started: list[subprocess.Popen[str]] = []

    def start(*options: str) -> Plant:
        process = subprocess.Popen(
            [sys.executable, "-m", "controller.cli.main", "plant", "--port", "0", *options],
            cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)}, text=True, stdout=subprocess.PIPE,
        )
        started.append(process)
        assert process.stdout is not None
        assert select.select([process.stdout], [], [], 180.0)[0]
        return process, [process.stdout.readline() for _line in range(3)]

    yield start
    for process in started:
        process.kill()
        process.communicate()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_greets_serves_and_ends_in_order(plant: Callable[..., Plant], number: signal.Signals) -> None:
    process, lines = plant("--lockstep", "--load", "80")
    assert "simulated chamber demo-north, 80 t" in lines[0]
    assert "lockstep" in lines[0]
    assert lines[1].startswith("control it with: dewhold run")
    assert "Ctrl-C" in lines[2]
    port = int(re.findall(r"127\.0\.0\.1:(\d+)", lines[0])[0])
    with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S) as wire:
        wire.sendall(bytes.fromhex("0001 0000 0006 ff 03 0000 0002"))  # the first two words
        assert wire.recv(64).hex() == "000100000007ff03045a1e0001"
    process.send_signal(number)
    rest, _none = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0
    assert "stopped after 0.00 h of the chamber's time" in rest


def test_truth_is_written_by_the_minute_while_it_runs(plant: Callable[..., Plant], tmp_path: Path) -> None:
    process, _lines = plant("--pace", "600", "--truth", "truth.csv")
    file = tmp_path / "truth.csv"
    pause, last_s = select.poll(), time.monotonic() + PATIENCE_S
    while not file.exists() or file.read_text().count("\n") <= 10:
        assert time.monotonic() < last_s
        pause.poll(50)
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=PATIENCE_S)
    rows = list(csv.DictReader(file.read_text().splitlines()))
    assert tuple(rows[0]) == ("time_s", *COLUMNS)
    assert len(rows) > 10
    assert [float(row["time_s"]) for row in rows[:10]] == [60.0 * minute for minute in range(1, 11)]
    assert 5.0 < float(rows[0]["air_mean_degC"]) < 40.0
    assert "bay" in rows[0]["dew_margin_surface"]


def test_a_port_in_use_is_named_with_what_to_do(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as holder:
        port = holder.getsockname()[1]
        assert main(["plant", "--port", str(port), "--lockstep"]) == 3
    said = capsys.readouterr().err
    assert f"cannot listen on 127.0.0.1 port {port}" in said
    assert "choose another port" in said


@pytest.mark.parametrize(
    ("options", "field"), [(["--port", "70000"], "--port"), (["--pace", "0"], "--pace"), (["--scan", "9"], "--scan")]
)
def test_wrong_options_are_named(options: list[str], field: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plant", *options]) == 2
    assert field in capsys.readouterr().err


def test_a_truth_file_that_cannot_be_written_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plant", "--port", "0", "--lockstep", "--truth", str(tmp_path)]) == 2
    assert "is a folder; name a file" in capsys.readouterr().err
    missing = tmp_path / "no" / "such"
    assert main(["plant", "--port", "0", "--lockstep", "--truth", str(missing / "x.csv")]) == 3
    assert f"there is no folder {missing}" in capsys.readouterr().err
    assert not (tmp_path / "no").exists()


def test_a_file_that_holds_no_truth_is_not_replaced_by_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mine = tmp_path / "README.md"
    mine.write_text("what I need", encoding="utf-8")
    assert main(["plant", "--port", "0", "--lockstep", "--truth", str(mine)]) == 2
    assert "is there and is no file of the truth; name another file" in capsys.readouterr().err
    assert mine.read_text(encoding="utf-8") == "what I need"


def test_a_truth_is_known_by_its_head(tmp_path: Path) -> None:
    path = tmp_path / "truth.csv"
    TruthFile(path, 1.0, 2, 2).close()
    assert is_truth(path)
    path.write_text("time_s,whatever\n1,2\n", encoding="utf-8")
    assert not is_truth(path)


FAULTS = """
[[fault]]
kind = "wrong-unit"
start_s = 0.0
[[fault]]
kind = "door-open"
target = "2"
start_s = 60.0
length_s = 60.0
[[fault]]
kind = "abort"
start_s = 5.0
"""


def test_faults_of_chamber_and_wire_act_and_are_told_and_orders_of_people_are_left_out(
    plant: Callable[..., Plant], tmp_path: Path
) -> None:
    (tmp_path / "faults.toml").write_text(FAULTS, encoding="utf-8")
    process, lines = plant("--pace", "600", "--faults", "faults.toml")
    assert process.stdout is not None
    assert process.stdout.readline() == "faults: 2 of faults.toml, told here as they begin and end\n"
    assert "left out: 1 orders of people (abort)" in process.stdout.readline()
    port = int(re.findall(r"127\.0\.0\.1:(\d+)", lines[0])[0])
    with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S) as wire:
        wire.sendall(bytes.fromhex("0001 0000 0006 ff 03 0000 0002"))
        assert wire.recv(64).hex() == "000100000007fe03045a1e0001", "another unit replies"
    told = [process.stdout.readline() for _line in range(3)]
    assert told[0] == "0:00:00 simulated fault begins: wrong-unit, the reply names another unit\n"
    assert [line[:7] for line in told] == ["0:00:00", "0:01:00", "0:02:00"]
    assert "is over: door-open 2" in told[2]
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0


def test_a_port_in_use_is_named_behind_bad_wires_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "faults.toml").write_text(FAULTS, encoding="utf-8")
    with socket.create_server(("127.0.0.1", 0)) as holder:
        port = holder.getsockname()[1]
        assert main(["plant", "--port", str(port), "--lockstep", "--faults", str(tmp_path / "faults.toml")]) == 3
    said = capsys.readouterr().err
    assert f"cannot listen on 127.0.0.1 port {port}" in said
    assert "choose another port" in said


def test_faults_of_the_computer_are_no_matter_of_a_device(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "faults.toml").write_text('[[fault]]\nkind = "disk-full"\n', encoding="utf-8")
    assert main(["plant", "--faults", str(tmp_path / "faults.toml")]) == 2
    said = capsys.readouterr().err
    assert "is a fault of the computer" in said
    assert "tests/faults/test_disk.py" in said


def test_the_kinds_of_faults_are_listed_and_nothing_is_served(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plant", "--faults", "list"]) == 0
    assert "wrong-transaction" in capsys.readouterr().out
