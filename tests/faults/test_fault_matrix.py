"""Every kind of fault in every situation: invariants hold while it acts, and the chamber lives again after healing."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from random import Random
from typing import Any

import pytest

from controller.cli.main import BAD_INPUT, DID_NOT_HOLD, GOOD, main
from controller.core.sequence.phase_kinds import PhaseKind
from controller.rig.campaign import matrix, trial
from controller.rig.campaign.matrix import SITUATIONS, Asked, Cell
from controller.rig.campaign.moments import REST, recalled
from plantsim.faults import kinds_of

SCAN_S = 2.0
KINDS = kinds_of()
CHUNKS = 8
# Two situations a kind, drawn once: each kind and each situation is met.
_RANDOM = Random(8)
SAMPLE = [
    Cell(kind, situation, _RANDOM.randrange(1, 1000))
    for kind in KINDS
    for situation in _RANDOM.sample(list(SITUATIONS), 2)
]


def broken(cells: Iterable[Cell]) -> list[Any]:
    """Every cell of these whose run was broken, and how."""
    found = [(cell, trial.run(matrix.case_of(cell, SCAN_S)).violation) for cell in cells]
    return [(cell, violation) for cell, violation in found if violation is not None]


def test_every_phase_is_a_situation_and_every_simulated_kind_a_row() -> None:
    assert set(PhaseKind.__args__) < set(SITUATIONS)  # type: ignore[attr-defined]
    assert len(KINDS) >= 49
    assert {cell.kind for cell in SAMPLE} == set(KINDS)
    assert {cell.situation for cell in SAMPLE} == set(SITUATIONS)
    assert len(matrix.cells(Asked())) == 3 * len(KINDS) * len(SITUATIONS)


@pytest.mark.parametrize("name", SITUATIONS)
def test_a_run_begins_in_its_situation_and_has_its_one_fault(name: str) -> None:
    case = matrix.case_of(Cell("door-open", name, 1), SCAN_S)
    assert case.moment is not None
    state = recalled(case.moment, SCAN_S).state.sequence.state
    assert state == ("complete" if name == REST else "running")
    assert [(fault.kind, fault.start_s) for fault in case.faults] == [("door-open", matrix.BEGINS_S)]
    assert case.heal_s == case.faults[0].end_s


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_a_sample_of_the_matrix_is_not_broken(chunk: int) -> None:
    assert broken(SAMPLE[chunk::CHUNKS]) == []


@pytest.mark.slow
@pytest.mark.parametrize("situation", SITUATIONS)
def test_the_whole_matrix_is_not_broken(situation: str) -> None:
    assert broken(matrix.cells(Asked(situations=(situation,)))) == []


def asked(*more: str) -> list[str]:
    return ["campaign", "--matrix", "--seeds", "1", "--situation", "hold", "--workers", "1", *more]


def test_people_get_a_table_and_tools_get_figures(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(asked("--kind", "belt-off", "--kind", "reset")) == GOOD
    shown = capsys.readouterr().out
    assert [line.split() for line in shown.splitlines()[:3]] == [
        ["kind", "room", "hold"], ["belt-off", "plant", "1"], ["reset", "wire", "1"],
    ]
    assert shown.rstrip().endswith("broken: 0")
    assert main(asked("--kind", "reset", "--json")) == GOOD
    found = json.loads(capsys.readouterr().out)
    assert (found["runs"], found["violations"], found["broken"]) == (1, 0, {"reset": {"hold": 0}})


def test_a_broken_cell_prints_the_command_that_shows_it_again(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    right = trial.Judge.look

    def look(self: Any, scan: int, result: Any) -> None:
        right(self, scan, result)
        if False in result.frame.discrete[:2]:
            self._found(scan, "journal", "planted")

    monkeypatch.setattr(trial.Judge, "look", look)
    assert main(asked("--kind", "belt-off", "--json")) == DID_NOT_HOLD
    found = json.loads(capsys.readouterr().out)
    [one] = found["failing"]
    assert found["broken"] == {"belt-off": {"hold": 1}}
    word, *command = one["command"].replace("'", "").split()
    assert word == "dewhold"
    assert main(command) == DID_NOT_HOLD
    shown = capsys.readouterr().out
    assert "1!1" in shown
    assert "belt-off in hold, seed 1: journal: planted" in shown


def test_liveness_is_judged_after_the_healing(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    right = trial._Watch._moment
    monkeypatch.setattr(trial._Watch, "_moment", lambda *given: replace(right(*given), bad=1))
    assert main(asked("--kind", "reset", "--json")) == DID_NOT_HOLD
    [one] = json.loads(capsys.readouterr().out)["failing"]
    assert (one["violation"], one["what"]) == ("liveness", "15 min after healing 1 readings are still not good")


@pytest.mark.parametrize("wrong", [["--kind", "gremlins"], ["--situation", "holiday"]])
def test_an_unknown_row_or_column_is_bad_input(wrong: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["campaign", "--matrix", *wrong]) == BAD_INPUT
    assert wrong[1] in capsys.readouterr().err


def test_rows_and_columns_belong_to_the_matrix(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["campaign", "--kind", "belt-off"]) == BAD_INPUT
    assert "--matrix" in capsys.readouterr().err
