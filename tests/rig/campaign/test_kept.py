"""Results in a file: what stands there is not run again, a line cut short is, and other runs' results do not count."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from controller.cli.main import BAD_INPUT, GOOD, main
from controller.errors import ConfigError
from controller.rig.campaign import campaign, matrix, moments, trial
from controller.rig.campaign.kept import Kept
from controller.rig.campaign.swarm import base_of
from controller.rig.campaign.trial import Outcome
from controller.rig.judging.judge import Violation

RUNS = {"hours": 0.75, "scan_s": 2.0}
FOUND = Outcome(7, 100, 2.0, 3, "abc", "in the band", Violation(9, "books", "closure 1"), {"states": ("held", "idle")})
GOOD_ONE = replace(FOUND, seed=8, violation=None)
OWN = next(seed for seed in range(1, 500) if base_of(seed) is None and base_of(seed + 1) is None)


def test_what_was_added_is_there_the_next_time(tmp_path: Path) -> None:
    path = tmp_path / "new" / "results"
    kept = Kept(path, RUNS)
    kept.add((7,), FOUND)
    kept.add(("belt-off", "hold", 8), GOOD_ONE)
    assert Kept(path, RUNS).outcomes == {(7,): FOUND, ("belt-off", "hold", 8): GOOD_ONE}


def test_a_line_that_was_being_written_is_run_again(tmp_path: Path) -> None:
    path = tmp_path / "results"
    kept = Kept(path, RUNS)
    kept.add((7,), FOUND)
    whole = path.read_bytes()
    kept.add((8,), GOOD_ONE)
    both = path.read_bytes()
    for cut in (len(both) - 1, len(whole) + 1):
        path.write_bytes(both[:cut])
        assert Kept(path, RUNS).outcomes == {(7,): FOUND}
        assert path.read_bytes() == whole


def test_results_of_other_runs_or_another_program_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "results"
    Kept(path, RUNS).add((7,), FOUND)
    with pytest.raises(ConfigError, match=r"hours 0.75, now 4"):
        Kept(path, {**RUNS, "hours": 4.0})
    with pytest.raises(ConfigError, match="holds no results"):
        Kept(path, {"matrix": True})
    monkeypatch.setattr(moments, "program", lambda: "another")
    with pytest.raises(ConfigError, match="program"):
        Kept(path, RUNS)
    assert path.read_bytes().count(b"\n") == 2


@pytest.mark.parametrize("text", ["no json\n", "[]\n", '{"program": 1}\n', "{}\n"])
def test_another_file_is_refused_and_left_as_it_is(tmp_path: Path, text: str) -> None:
    path = tmp_path / "results"
    path.write_text(text)
    with pytest.raises(ConfigError, match="--results"):
        Kept(path, RUNS)
    assert path.read_text() == text


def test_a_folder_is_bad_input(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["campaign", "--seeds", "1", "--results", str(tmp_path)]) == BAD_INPUT
    assert "--results" in capsys.readouterr().err


def test_without_a_file_nothing_is_kept() -> None:
    kept = Kept(None, RUNS)
    kept.add((7,), FOUND)
    assert kept.outcomes == {}


def _quiet(_done: float, _note: str) -> None:
    pass


def test_a_campaign_goes_on_where_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = campaign.Asked(seeds=1, first_seed=OWN, hours=0.75, results=tmp_path / "results")
    once = campaign.run(asked, _quiet)
    lived: list[int] = []
    right = trial.run

    def run(case: Any) -> Any:
        lived.append(case.seed)
        return right(case)

    monkeypatch.setattr(trial, "run", run)
    both = campaign.run(replace(asked, seeds=2), _quiet)
    assert lived == [OWN + 1]
    assert (both.before, both.interrupted) == (1, False)
    assert both.outcomes[0] == once.outcomes[0]
    assert campaign.as_json(both)["runs_from_file"] == 1
    assert campaign.run(replace(asked, seeds=2), _quiet).scans_per_s is None
    assert lived == [OWN + 1]


def test_a_matrix_goes_on_where_it_was(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "results"
    command = ["campaign", "--matrix", "--situation", "hold", "--workers", "1", "--results", str(path), "--json"]
    assert main([*command, "--kind", "reset", "--seeds", "1"]) == GOOD
    capsys.readouterr()
    assert main([*command, "--kind", "reset", "--kind", "off", "--seeds", "1"]) == GOOD
    found = json.loads(capsys.readouterr().out)
    assert (found["runs"], found["runs_from_file"]) == (2, 1)
    assert [json.loads(line)["run"] for line in path.read_text().splitlines()[1:]] == [
        ["reset", "hold", 1], ["off", "hold", 1],
    ]
    assert matrix.cells(matrix.Asked(kinds=("off",), situations=("hold",), seeds=1)) == [matrix.Cell("off", "hold", 1)]
