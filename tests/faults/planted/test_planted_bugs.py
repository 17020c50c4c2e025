"""Every invariant catches the bug that is planted for it; what provokes the bug breaks nothing by itself."""

from __future__ import annotations

import importlib
from pathlib import Path
from runpy import run_path
from typing import Any

import pytest

from controller.core.invariants.invariants import NAMES
from controller.errors import InvariantError

BUGS = run_path(str(Path(__file__).with_name("bugs.py")))["BUGS"]
SCANS = 330


def plant(where: str, wrong: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Replace a function of a module, or of a class in it."""
    parts = where.split(".")
    for cut in range(len(parts) - 1, 0, -1):
        try:
            owner: Any = importlib.import_module(".".join(parts[:cut]))
        except ModuleNotFoundError:
            continue
        for name in parts[cut:-1]:
            owner = getattr(owner, name)
        monkeypatch.setattr(owner, parts[-1], wrong(getattr(owner, parts[-1])))
        return
    raise AssertionError(where)


def live(rig: Any, bug: Any) -> None:
    """The run in which the bug would show."""
    if bug.lost[1]:
        from controller.link.faulty import Fault, FaultyLink

        rig.link = FaultyLink(rig.link, {bug.lost[0]: Fault(kind="lost-reply", frames=bug.lost[1])})
    acts = {scan: lambda deed=deed: deed(rig.plant) for scan, deed in bug.deeds.items()}
    rig.run(SCANS, orders=bug.orders, acts=acts)


@pytest.mark.parametrize("bug", BUGS, ids=[f"{bug.names}: {bug.says}" for bug in BUGS])
def test_a_planted_bug_is_named_by_its_invariant(rig: Any, bug: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    plant(bug.where, bug.wrong, monkeypatch)
    with pytest.raises(InvariantError) as broken:
        live(rig, bug)
    assert bug.names in str(broken.value)


@pytest.mark.parametrize("bug", [bug for bug in BUGS if bug.deeds or bug.orders or bug.lost[1]], ids=lambda b: b.says)
def test_what_provokes_it_breaks_nothing_without_the_bug(rig: Any, bug: Any) -> None:
    live(rig, bug)
    assert (rig.report.scans, rig.report.invariants_broken) == (SCANS, 0)


def test_no_invariant_is_without_its_bug() -> None:
    assert {bug.names for bug in BUGS} == set(NAMES)
