"""The list of mutants that went unnoticed fits the code, each has its reason, and nine of ten were noticed."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from mutation import lists

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
CORE = ROOT / "controller" / "core"
SCORES, GROUPS = lists.read_survivors(HERE / "survivors.toml")
SUBJECTS = tomllib.loads((HERE / "subjects.toml").read_text(encoding="utf-8"))


def test_every_survivor_is_about_code_that_exists() -> None:
    gone = [
        f"{mutant[0]} {mutant[1]}: {mutant[2]}"
        for group in GROUPS for mutant in group.mutants if not lists.is_there(CORE, *mutant[:3])
    ]
    assert not gone, "sh tools/mutants --tidy; later --again and --write:\n" + "\n".join(gone)


def test_every_survivor_has_a_reason() -> None:
    assert all(len(group.reason) > 20 for group in GROUPS)


@pytest.mark.parametrize("subject", SUBJECTS)
def test_at_least_nine_of_ten_mutants_are_noticed(subject: str) -> None:
    score = SCORES[subject]
    assert score["pct"] == pytest.approx(100.0 * score["noticed"] / score["mutants"], abs=0.06)
    assert score["pct"] >= 90.0


def test_what_is_listed_belongs_to_a_subject() -> None:
    files = {file for subject in SUBJECTS.values() for file in subject["files"]}
    assert {mutant[0] for group in GROUPS for mutant in group.mutants} <= files
    assert all((CORE / file).exists() for file in files)
    assert all((ROOT / "tests" / "core" / test).exists() for subject in SUBJECTS.values() for test in subject["tests"])
