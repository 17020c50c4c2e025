"""The entry: every command is found, exit codes mean what they say, errors are texts and never tracebacks."""

from __future__ import annotations

import json
import subprocess
import sys
from argparse import Namespace
from importlib import import_module
from pathlib import Path

import pytest

from controller import __version__
from controller.cli import main as entry
from controller.cli.options import plant_of
from controller.errors import ConfigError, InvariantError, LinkError, Problem, StoreError

ROOT = Path(__file__).parents[2]


def test_version_and_help_name_the_program(capsys: pytest.CaptureFixture[str]) -> None:
    for option in ("--version", "--help"):
        with pytest.raises(SystemExit) as ended:
            entry.main([option])
        assert ended.value.code == 0
    out = capsys.readouterr().out
    assert f"dewhold {__version__}" in out
    assert "never a safety" in out


@pytest.mark.parametrize("name", ["cycle", "plant", "run", "check"])
def test_every_command_has_help(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        entry.main([name, "--help"])
    assert ended.value.code == 0
    assert f"usage: dewhold {name}" in capsys.readouterr().out


@pytest.mark.parametrize("arguments", [[], ["harden"], ["cycle", "--frobnicate"], ["cycle", "--link", "pigeon"]])
def test_what_is_no_command_is_bad_input(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        entry.main(arguments)
    assert ended.value.code == 2
    assert "usage: dewhold" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("error", "code", "text"),
    [
        (ConfigError([Problem("a.toml", "x", "3", "at most 2", "lower it")]), 2, "a.toml: x = 3: at most 2; lower it"),
        (LinkError("refused", "no device at 1.2.3.4:502"), 3, "no device at 1.2.3.4:502"),
        (StoreError("disk gone; check it"), 3, "disk gone; check it"),
        (InvariantError("scan 7: slew"), 1, "invariant broken: scan 7: slew"),
        (MemoryError(), 3, "no more memory to be had, so it ended; end other programs on this computer"),
        (KeyboardInterrupt(), 130, "interrupted"),
    ],
)
def test_each_kind_of_error_has_its_code_and_its_text(
    error: BaseException, code: int, text: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fails(_args: object) -> int:
        raise error

    monkeypatch.setattr(import_module("controller.cli.cycle"), "run", fails)
    assert entry.main(["cycle"]) == code
    said = capsys.readouterr()
    assert text in said.err
    assert "Traceback" not in said.err
    assert said.out == ""


def test_errors_are_json_when_json_is_asked_for(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert entry.main(["cycle", "--json", "--load", "900"]) == 2
    found = json.loads(capsys.readouterr().out)
    assert found["ok"] is False
    assert found["problems"][0]["field"] == "--load"
    assert found["problems"][0]["limit"] == "must be 0 to 150 t"


def test_without_asserts_nothing_runs() -> None:
    """python -O would take the assertions out of the program."""
    command = [sys.executable, "-O", "-m", "controller.cli.main", "cycle"]
    ended = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=60)
    assert ended.returncode == 2
    assert "without -O" in ended.stderr


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["cycle", "--hours", "abc"], "command line: --hours = abc: must be a number"),
        (["cycle", "--seed", "1.5"], "command line: --seed = 1.5: must be a whole number"),
        (["cycle", "--link", "rtu"], "command line: --link = rtu: must be one of modbus, direct"),
        (["cycel"], "did you mean cycle?"),
        (["cycle", "--recpie", "eco"], "did you mean --recipe?"),
        (["cycle", "--hours"], "command line: --hours = (nothing): needs a value"),
    ],
)
def test_mistakes_on_the_command_line_say_value_limit_and_remedy(
    arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        entry.main(arguments)
    assert ended.value.code == 2
    assert said in capsys.readouterr().err


def test_air_below_zero_outside_is_taken_as_it_is_written(capsys: pytest.CaptureFixture[str]) -> None:
    assert entry.main(["cycle", "--outdoor", "-50/80"]) == 2
    assert "--outdoor = -50.0: must be -40 to 50 degC" in capsys.readouterr().err


def test_the_plant_of_a_demo_chamber_is_the_one_of_its_name() -> None:
    cases = ((None, "demo-east", "demo-east"), (None, "mine/own.toml", "demo-north"), ("x", "y", "x"))
    for given, chamber, plant in cases:
        assert plant_of(Namespace(plant=given, chamber=chamber)) == plant
