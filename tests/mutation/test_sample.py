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
EACH_MIN = 40  # of a subject; fewer say little
PATIENCE_S = 1200.0  # twenty seconds alone; a minute more where tests got other names; others may be at work


def child(*words: str) -> subprocess.CompletedProcess[str]:
    """Python in the checkout; nothing of this pytest goes into that one."""
    ours = {name: value for name, value in os.environ.items() if not name.startswith(("PYTEST_", "COV"))}
    return subprocess.run(
        [sys.executable, *words], cwd=ROOT,
        env={**ours, "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tools")])},
        capture_output=True, text=True, check=False, timeout=PATIENCE_S,
    )


def test_every_slip_of_the_sample_is_noticed() -> None:
    ran = child("-m", "mutation", "--sample")
    assert ran.returncode == 0, ran.stdout + ran.stderr


def test_the_sample_is_of_every_subject() -> None:
    rows = lists.read_sample(HERE / "sample.toml")
    for name, subject in tomllib.loads((HERE / "subjects.toml").read_text(encoding="utf-8")).items():
        assert sum(row[0] in subject["files"] for row in rows) >= EACH_MIN, name


SLIP = ("protection/protection.py", "_follow", "return 0.0, not reset")
FILE = "tests/core/protection/test_protection_limits.py"
LATCHED = f"{FILE}::test_what_protection_itself_tripped_is_given_back_by_the_reset"
FEW = """
import sys
from pathlib import Path
from mutation.sample import try_out
from mutation.subject import Subject

few = Subject("few", ("protection/protection.py",), ("protection/test_protection_limits.py",))
sys.exit(try_out(few, Path(sys.argv[1])))
"""


@pytest.mark.parametrize(
    ("becomes", "test", "status", "says"),
    [
        ("return 0.0, True", LATCHED, 0, "few: 1 in the sample, 1 of them still there, 1 noticed"),
        ("return (0.0), not reset", LATCHED, 1, "went unnoticed: controller/core/protection/protection.py _follow"),
        ("return 0.0, True", LATCHED + "_once", 0, "few: 1 of the sample once more, with every test"),
        ("return 0.0, True", "tests/core/test_gone.py::test_gone", 0, "few: 1 of the sample once more"),
    ],
    ids=["a slip", "no slip", "a test of another name", "a file of another name"],
)
def test_what_its_own_test_does_not_notice_is_tried_with_every_test(
    tmp_path: Path, becomes: str, test: str, status: int, says: str
) -> None:
    """Goal: the sample can fail, and does not because of a name. Method: a list of one row, few tests."""
    lists.write_sample(tmp_path / "sample.toml", [(*SLIP, becomes, test)])
    ran = child("-c", FEW, str(tmp_path / "sample.toml"))
    assert (ran.returncode, says in ran.stdout) == (status, True), ran.stdout + ran.stderr


def test_a_sample_of_code_that_is_gone_has_to_be_drawn_anew(tmp_path: Path) -> None:
    lists.write_sample(tmp_path / "sample.toml", [(*SLIP[:2], "return nothing_like_it", "return 0.0", LATCHED)])
    ran = child("-c", FEW, str(tmp_path / "sample.toml"))
    assert ran.returncode == 1
    assert "less than half of the sample is left; sh tools/mutants few --draw 100" in ran.stdout
