"""`dewhold run`: a device or a clear text, orders as given, a summary without truth, a folder for one controller."""

from __future__ import annotations

import json
import os
import re
import resource
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from controller.cli.main import main
from controller.cli.tell import Teller
from controller.runtime.restart import InstanceLock
from controller.runtime.session import Asked, prepare
from controller.store.reader import Reader
from controller.store.recorder import Scan

ROOT = Path(__file__).parents[2]
START_MS = 1_772_467_200_000  # 2026-03-02 16:00 UTC, the demo day


@pytest.fixture
def device() -> Iterator[Any]:
    """A simulated chamber in lockstep, served by threads of this process."""
    from controller.rig.plant import build, scene
    from controller.rig.served.serve import listen

    session = prepare(Asked(chamber="demo-north", recipe="gentle", mix="demo-60", load_t=120.0, mix_degC=20.0))
    server = listen(build(scene(), session.bundle.points, session.device, lockstep=True), "127.0.0.1", 0, 1.0)
    yield server
    server.stop()


@pytest.fixture
def run(device: Any, tmp_path: Path) -> Callable[..., int]:
    return lambda *options: main(
        ["run", "--port", str(device.port), "--lockstep", "--out", str(tmp_path / "out"), *options]
    )


def journal(tmp_path: Path) -> list[Any]:
    with closing(Reader(tmp_path / "out" / "record.sqlite")) as reader:
        return reader.journal()


def test_no_device_at_the_address(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A port that was free a moment ago: the address, what happened, what to do; exit code 3; no record."""
    with socket.create_server(("127.0.0.1", 0)) as holder:
        port = holder.getsockname()[1]
    assert main(["run", "--port", str(port), "--out", str(tmp_path)]) == 3
    said = capsys.readouterr().err
    assert f"no device at 127.0.0.1:{port} (connection refused)" in said
    assert "check host, port and cable" in said
    assert not (tmp_path / "record.sqlite").exists()


@pytest.mark.parametrize("pace", ["0", "-1", "nan", "100001"])
def test_a_pace_out_of_range_is_said_before_anything_is_touched(
    pace: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["run", f"--pace={pace}", "--out", str(tmp_path / "out")]) == 2
    assert "--pace" in (said := capsys.readouterr().err)
    assert "must be 0.1 to 100000 times real time; give" in said
    assert not (tmp_path / "out").exists()


def test_a_limit_without_a_unit_has_no_gap(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["run", "--port", "0", "--out", str(tmp_path)]) == 2
    assert "must be 1 to 65535; give" in capsys.readouterr().err


def test_a_cycle_with_orders_ends_with_its_summary(
    run: Callable[..., int], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Start, stop; it ends by itself when the cycle is at rest, and seals it."""
    assert run("--start-now", "--order", "stop@120") == 1
    said = capsys.readouterr()
    summary = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert summary["truth"] is None
    assert summary["closure"] is None
    assert summary["seed"] is None
    assert summary["invariants_broken"] == 0
    assert 420 <= summary["scans"] <= 425  # stopping takes 300 s
    assert summary["verdict"] == "deviation"
    assert summary["energy_kWh"]["fan"] > 0.1
    assert "figures believed from the probes" in said.out
    rows = journal(tmp_path)
    assert [(row.scan, row.data["verb"]) for row in rows if row.kind == "order"] == [(5, "start"), (120, "stop")]
    assert rows[0].utc_ms == START_MS + 5000
    with closing(Reader(tmp_path / "out" / "record.sqlite")) as reader:
        assert reader.cycles()[-1].summary == summary
    lines = [json.loads(line) for line in said.err.splitlines()]
    assert {line["kind"] for line in lines} == {"command", "state", "phase"}


def test_an_order_may_have_arguments_as_at_the_desk(run: Callable[..., int], tmp_path: Path) -> None:
    run("--start-now", "--order", "trim tag=temperature value=0.5 hours=2 reason='a trial @ noon' @20",
        "--order", "force tag=TT-110 value=20 hours=1 reason=trial@30", "--order", "stop@60")
    ordered = [row.data for row in journal(tmp_path) if row.kind == "order"]
    assert [data["verb"] for data in ordered] == ["start", "trim", "force", "stop"]
    args = dict(ordered[1]["args"])
    assert args == {"tag": "temperature", "value": 0.5, "hours": 2.0, "reason": "a trial @ noon", "role": "operator"}
    begun = [row.text for row in journal(tmp_path) if row.kind == "by-hand" and row.data["what"] == "begins"]
    assert begun == ["temperature trimmed by +0.5, by command line: a trial @ noon",
                     "TT-110 forced at 20, by command line: trial"]


def test_other_mixes_go_into_the_record_and_one_without_a_file_is_named(
    run: Callable[..., int], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("--other-mix", "quick", "--other-mix", "nobody") == 2
    assert "nobody.toml" in capsys.readouterr().err
    run("--other-mix", "quick", "--hours", "0.01")
    with closing(Reader(tmp_path / "out" / "record.sqlite")) as reader:
        texts = reader.header().texts
    assert 'name = "quick"' in texts["mix quick"]
    assert 'name = "demo-60"' in texts["mix"]


def test_start_now_in_the_same_folder_resets_and_starts_the_next_cycle(
    run: Callable[..., int], tmp_path: Path
) -> None:
    run("--start-now", "--order", "abort@30")
    run("--start-now", "--order", "abort@30", "--load", "60")
    moves = [(row.data["from"], row.data["to"]) for row in journal(tmp_path) if row.kind == "state"]
    once = [("idle", "running"), ("running", "aborting"), ("aborting", "aborted")]
    assert moves == [*once, ("aborted", "idle"), *once]
    with closing(Reader(tmp_path / "out" / "record.sqlite")) as reader:
        cycles = reader.cycles()
        scans = [frame.scan for frame in reader.frames()]
    assert [cycle.header.facts["load_t"] for cycle in cycles] == [120.0, 60.0]
    assert all(cycle.summary for cycle in cycles)
    assert scans == list(range(len(scans)))


def test_start_now_does_not_touch_a_cycle_in_progress(
    run: Callable[..., int], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("--start-now", "--hours", "0.02") == 1
    assert "the cycle is not over (running)" in capsys.readouterr().out
    run("--start-now", "--hours", "0.02")
    texts = [row.text for row in journal(tmp_path) if row.kind == "command"]
    assert texts[1] == "hold by restart: done"
    assert texts[2].startswith("start by command line: refused")


def test_a_latched_trip_keeps_control_to_the_last(run: Callable[..., int], tmp_path: Path, device: Any) -> None:
    """Aborted is at rest, but leaving would hand the outputs to the device, whose safe value turns the fan on."""
    log = device.remote_io._chamber
    live = log._step

    def step(outputs: Any) -> None:
        live(outputs)
        if log.steps == 60:  # seen in scan 61
            log._chamber.set_condition("estop_healthy", False)

    log._step = step
    run("--start-now", "--hours", "0.05", "--json")
    summary = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert summary["scans"] == 180
    assert summary["verdict"] == "fail"
    assert summary["trips"] == ["emergency-stop"]
    alarm = next(alarm for alarm in summary["alarms"] if alarm["tag"] == "emergency-stop")
    assert (alarm["from_s"], alarm["priority"]) == (56.0, "high")  # counted from the start in scan 5
    moves = [(row.scan, row.data["to"]) for row in journal(tmp_path) if row.kind == "state"]
    assert moves == [(5, "running"), (62, "aborting"), (63, "aborted")]


def test_paces_only_what_says_that_it_is_simulated(
    run: Callable[..., int], monkeypatch: pytest.MonkeyPatch, device: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("plantsim.remote_io.STATUS_SIMULATED", 0)
    device.remote_io.set_fault(False)  # writes its status anew
    before = device.remote_io.scans
    assert run("--start-now") == 3
    assert "leave them out to control a real one" in capsys.readouterr().err
    assert device.remote_io.scans == before


def test_a_pace_that_the_machine_does_not_reach_is_told(device: Any, tmp_path: Path, capsys: Any) -> None:
    options = ["run", "--port", str(device.port), "--out", str(tmp_path / "out"), "--hours", "0.05", "--no-report"]
    main([*options, "--pace", "100000"])
    assert re.search(r"reached [\d,]+ times real time of the 100,000 asked for", capsys.readouterr().out)


def test_a_simulated_cycle_does_not_replace_the_record_of_a_chamber(
    run: Callable[..., int], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run("--start-now", "--hours", "0.01", "--no-report")
    before = (tmp_path / "out" / "record.sqlite").read_bytes()
    assert main(["cycle", "--link", "direct", "--hours", "0.1", "--out", str(tmp_path / "out")]) == 2
    assert "controlled: it stays" in capsys.readouterr().err
    assert (tmp_path / "out" / "record.sqlite").read_bytes() == before


def test_one_folder_one_controller(run: Callable[..., int], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with InstanceLock(tmp_path / "out"):
        assert run("--start-now") == 3
    assert f"another controller (process {os.getpid()} on " in capsys.readouterr().err


@pytest.mark.parametrize(
    ("options", "field"),
    [
        (["--order", "restart"], "--order"),
        (["--order", "restart@soon"], "--order"),
        (["--order", "dance@5"], "--order"),
        (["--order", "start@-1"], "--order"),
        (["--order", "@5"], "--order"),
        (["--order", "5"], "--order"),
        (["--order", "trim tag='temperature @5"], "has a quote that nobody closes"),
        (["--order", "charge bay=1 level=2 @5"], "needs tonnes=T and degC=T"),
        (["--order", "charge bay=1 level=2 @5"], 'for example --order "charge bay=1 level=2 tonnes=0.5 degC=20 @60"'),
        (["--order", "trim vale=1 @5"], "did you mean value?"),
        (["--hours", "0"], "--hours"),
        (["--scan", "0.1"], "--scan"),
        (["--port", "0"], "--port"),
        (["--load", "1000"], "--load"),
    ],
)
def test_wrong_options_are_named_before_anything_is_touched(
    options: list[str], field: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["run", "--out", str(tmp_path / "out"), *options]) == 2
    assert field in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_memory_that_runs_out_ends_the_run_safe_and_stands_in_the_record(
    run: Callable[..., int], device: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """In the 30th scan, when a row is handed over; every row before is there, and the chamber lived one step more."""
    add = Teller.add

    def short(teller: Teller, row: Scan) -> None:
        if row.scan == 30:
            raise MemoryError
        add(teller, row)

    monkeypatch.setattr(Teller, "add", short)
    assert run("--start-now", "--hours", "1") == 3
    assert "no more memory to be had, so it ended; end other programs" in capsys.readouterr().err
    last = journal(tmp_path)[-1]
    assert (last.scan, last.kind, last.tag) == (29, "note", "MEMORY")
    assert "sent safe outputs and ended" in last.text
    assert device.remote_io.scans == 32
    with closing(Reader(tmp_path / "out" / "record.sqlite")) as reader:
        assert [frame.scan for frame in reader.frames()] == list(range(30))


def test_a_disk_that_takes_nothing_more_does_not_end_control(device: Any, tmp_path: Path) -> None:
    """A child that may write files of 256 kB only: it controls to its end, then says what is missing and what to do."""
    limit = 256 * 1024

    def few_bytes() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))

    command = ["run", "--port", str(device.port), "--lockstep", "--out", "out", "--start-now", "--hours", "2"]
    ended = subprocess.run(
        [sys.executable, "-m", "controller.cli.main", *command], cwd=tmp_path, preexec_fn=few_bytes, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, check=False, timeout=60,
    )
    assert ended.returncode == 3
    assert device.remote_io.scans == 7201
    assert "control goes on, it is kept in memory" in ended.stderr
    assert "could not be written; check the disk of out (cable, health, file size limit)" in ended.stderr
    assert "Traceback" not in ended.stderr
