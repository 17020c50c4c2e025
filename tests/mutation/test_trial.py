"""Slips in a small module beside tests of its own: who notices, who does not, and what stops a trial."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
MODULE = """
class Tank:
    def level(self, inflow, outflow=1):
        return max(0, inflow - outflow)


def count(to):
    seen = 0
    while seen < to:
        seen += 1
    return seen
"""
TESTS = """
import sluice


def test_full():
    assert sluice.Tank().level(5) == 4


def test_full_again():
    assert sluice.Tank().level(6, 2) == 4


def test_count():
    assert sluice.count(3) == 3
"""
PROFILE = "from hypothesis import settings\nsettings.register_profile('gate', derandomize=True)\n"
TRY = """
import json, sys
from mutation import trial
from mutation.mutants import Mutant
from mutation.subject import run

trial.SPARE_S = 1
asked, found = json.loads(sys.argv[1]), []
mutants = [Mutant("sluice.py", name, "", "", number, source) for number, (name, source) in enumerate(asked["slips"])]
failed, _ = run(mutants, lambda mutant, by: found.append(by), ["test_sluice.py"], asked["only"], asked["until"])
print(json.dumps([failed, found]))
"""
RIGHT = "def level(self, inflow, outflow=1):\n    return max(0, inflow - outflow)\n"


@pytest.fixture
def attempt(tmp_path: Path) -> Any:
    """Try slips of `sluice` in a process of its own: what went wrong, and who noticed each."""

    def attempt(
        *slips: tuple[str, str], only: list[str] | None = None, until: int = 1, tests: str = TESTS
    ) -> tuple[str, list[list[str]]]:
        (tmp_path / "sluice.py").write_text(MODULE, encoding="utf-8")
        (tmp_path / "test_sluice.py").write_text(tests, encoding="utf-8")
        (tmp_path / "conftest.py").write_text(PROFILE, encoding="utf-8")
        (tmp_path / "pytest.ini").write_text("[pytest]\n", encoding="utf-8")
        ours = {name: value for name, value in os.environ.items() if not name.startswith(("PYTEST_", "COV"))}
        ran = subprocess.run(
            [sys.executable, "-c", TRY, json.dumps({"slips": slips, "only": only, "until": until})], cwd=tmp_path,
            env={**ours, "PYTHONPATH": os.pathsep.join([str(tmp_path), str(ROOT), str(ROOT / "tools")])},
            capture_output=True, text=True, check=False, timeout=600,
        )
        assert ran.returncode == 0, ran.stdout + ran.stderr
        failed, found = json.loads(ran.stdout.splitlines()[-1])
        return failed, [[name.rpartition("::")[2] for name in by] for by in found]

    return attempt


def test_a_slip_is_noticed_by_tests_that_call_its_function(attempt: Any) -> None:
    failed, found = attempt(
        ("Tank.level", RIGHT.replace("- outflow", "+ outflow")), ("Tank.level", RIGHT.replace("=1", "=2")),
        ("Tank.level", RIGHT.replace("max(0,", "max(-1,")), ("count", "def count(to):\n    return 3\n"), until=3,
    )
    assert failed == ""
    assert [sorted(by) for by in found] == [["test_full", "test_full_again"], ["test_full"], [], []]


def test_a_slip_of_one_mutant_is_not_left_to_the_next(attempt: Any) -> None:
    assert attempt(("count", "def count(to):\n    return 4\n"), ("count", "def count(to):\n    return to\n")) == (
        "", [["test_count"], []])


def test_only_the_tests_that_are_named_are_asked(attempt: Any) -> None:
    slip = ("Tank.level", RIGHT.replace("=1", "=2"))
    assert attempt(slip, only=["test_sluice.py::test_full_again"]) == ("", [[]])
    assert attempt(slip, only=["test_sluice.py::test_full", "test_sluice.py::test_gone"]) == ("", [["test_full"]])


def test_a_loop_that_does_not_end_is_noticed(attempt: Any) -> None:
    assert attempt(("count", "def count(to):\n    while True:\n        pass\n")) == ("", [["ended by SIGXCPU"]])


def test_a_test_that_fails_without_a_slip_stops_the_trial(attempt: Any) -> None:
    failed, found = attempt(("count", "def count(to):\n    return 4\n"), tests=TESTS.replace("== 3", "== 5"))
    assert (failed, found) == ("test_sluice.py::test_count: fails without any mutant", [])


def test_a_test_that_fails_when_it_runs_once_more_stops_the_trial(attempt: Any) -> None:
    once = TESTS + "    assert not hasattr(sluice, 'seen')\n    sluice.seen = True\n"
    for only in (None, ["test_sluice.py::test_count"]):
        failed, found = attempt(("count", "def count(to):\n    return 4\n"), tests=once, only=only)
        assert (failed, found) == ("test_sluice.py::test_count: fails in a child without any mutant", [])


def test_a_test_that_cannot_be_read_is_named_with_its_reason(attempt: Any) -> None:
    failed, found = attempt(("count", "def count(to):\n    return 4\n"), tests="import sluices\n")
    assert failed.startswith("test_sluice.py cannot be read: ")
    assert "No module named 'sluices'" in failed
    assert found == []
