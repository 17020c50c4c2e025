"""Tests that went soft are found by the gate: slips that were noticed once are made again, and are noticed still."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from mutation import lists

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
EACH_MIN = 20  # of a subject; fewer say little
PATIENCE_S = 1200.0  # twenty seconds alone; a minute more where tests got other names; others may be at work


def try_out(*words: str) -> subprocess.CompletedProcess[str]:
    """What `sh tools/mutants --sample` does, without the set-up; nothing of this pytest goes into that one."""
    ours = {name: value for name, value in os.environ.items() if not name.startswith(("PYTEST_", "COV"))}
    return subprocess.run(
        [sys.executable, "-m", "mutation", "--sample", *words], cwd=ROOT,
        env={**ours, "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tools")])},
        capture_output=True, text=True, check=False, timeout=PATIENCE_S,
    )


def test_every_slip_of_the_sample_is_noticed() -> None:
    ran = try_out()
    assert ran.returncode == 0, ran.stdout + ran.stderr


def test_the_sample_is_of_every_subject() -> None:
    rows = lists.read_sample(HERE / "sample.toml")
    for name, subject in tomllib.loads((HERE / "subjects.toml").read_text(encoding="utf-8")).items():
        assert sum(row[0] in subject["files"] for row in rows) >= EACH_MIN, name


SLIP = ("protection/protection.py", "_follow", "return 0.0, not reset")
KNOWS = "tests/core/protection/test_protection.py::test_first_out_is_kept_while_others_follow_and_goes_with_the_last"


@pytest.mark.parametrize(
    ("becomes", "test", "status", "says"),
    [
        ("return (0.0), not reset", KNOWS, 1, "went unnoticed: controller/core/protection/protection.py _follow"),
        ("return 1.0, not reset", "tests/core/protection/test_protection.py::test_of_another_name", 0,
         "1 of the sample once more, with every test"),
    ],
    ids=["one that is no slip", "one whose test got another name"],
)
def test_what_its_own_test_does_not_notice_is_tried_with_every_test(
    tmp_path: Path, becomes: str, test: str, status: int, says: str
) -> None:
    """Goal: the sample can fail, and does not because of a name. Method: a list of one row."""
    lists.write_sample(tmp_path / "sample.toml", [(*SLIP, becomes, test)])
    ran = try_out(str(tmp_path / "sample.toml"), "protection")
    assert (ran.returncode, says in ran.stdout) == (status, True), ran.stdout + ran.stderr


def test_a_sample_of_code_that_is_gone_has_to_be_drawn_anew(tmp_path: Path) -> None:
    lists.write_sample(tmp_path / "sample.toml", [(*SLIP[:2], "return nothing_like_it", "return 0.0", KNOWS)])
    ran = try_out(str(tmp_path / "sample.toml"), "protection")
    assert ran.returncode == 1
    assert "less than half of the sample is left; sh tools/mutants protection --draw 50" in ran.stdout
