"""Every way that air can go is gone as plain Python too: all lines and branches, and to the same end as compiled."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.plantsim.branches import CASES, lived

ROOT = Path(__file__).parents[2]
WHOLE = ("circulation", "through", "vents", "mixing", "coil", "gas", "steam", "droplets", "ground", "rows")
# The last point of a table is at 100 %, and no damper stands beyond; but a compiled function must end with a value.
UNREACHED = {"vents": ["return 1.0"]}


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What a program without compilation found: the ends of all cases, and which lines and branches it went."""
    folder = tmp_path_factory.mktemp("plain")
    environment = {**os.environ, "NUMBA_DISABLE_JIT": "1", "PYTHONPATH": str(ROOT)}
    environment["COVERAGE_FILE"] = str(folder / "data")
    coverage = [sys.executable, "-m", "coverage"]
    script = [str(ROOT / "tests" / "plantsim" / "branches.py")]
    which = ["--branch", f"--source={ROOT / 'plantsim' / 'kernel'}"]
    found = subprocess.run(
        [*coverage, "run", *which, *script], env=environment, cwd=folder, capture_output=True, text=True, check=False
    )
    assert found.returncode == 0, found.stderr
    told = subprocess.run(
        [*coverage, "json", "-o", "-"], env=environment, cwd=folder, capture_output=True, text=True, check=True
    )
    return {"ends": json.loads(found.stdout), "files": json.loads(told.stdout)["files"]}


@pytest.mark.parametrize("name", WHOLE)
def test_no_line_and_no_branch_of_the_way_of_the_air_is_left_out(plain: dict[str, Any], name: str) -> None:
    (file,) = [found for path, found in plain["files"].items() if path.endswith(f"kernel/{name}.py")]
    lines = (ROOT / "plantsim" / "kernel" / f"{name}.py").read_text(encoding="utf-8").splitlines()
    assert [lines[number - 1].strip() for number in file["missing_lines"]] == UNREACHED.get(name, [])
    left_out = [pair for pair in file["missing_branches"] if pair[1] not in file["missing_lines"]]
    assert left_out == []


@pytest.mark.parametrize("name", CASES)
def test_compiled_and_plain_end_alike(plain: dict[str, Any], name: str) -> None:
    """To 1e-9 of each figure: sums are added up in another order when they are compiled."""
    assert lived(CASES[name]) == pytest.approx(plain["ends"][name], rel=1e-9, abs=1e-9)


def test_the_cases_differ() -> None:
    ends = [tuple(lived(case)) for case in CASES.values()]
    assert len(set(ends)) == len(ends)
