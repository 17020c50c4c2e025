"""Every rule of judge and liveness catches the bug that is planted for it; what provokes it breaks none by itself."""

from __future__ import annotations

from pathlib import Path
from runpy import run_path
from typing import Any

import pytest

from controller.core.frames import Command
from controller.rig.campaign import moments, trial
from controller.rig.campaign.bases import BASES
from controller.rig.campaign.swarm import Case, after_healing
from controller.rig.judging.judge import RULES

HERE = Path(__file__)
BUGS = run_path(str(HERE.with_name("judged.py")))["BUGS"]
plant = run_path(str(HERE.with_name("test_planted_bugs.py")))["plant"]
BASE, SCAN_S = "every phase", 2.0


@pytest.fixture(scope="module")
def ramp() -> Any:
    """A moment in a ramp with heat at work."""
    found = [moment for moment in moments.known(BASE, SCAN_S) if moment.situation == "ramp"]
    heated = [moment for moment in found if moments.recalled(moment, SCAN_S).state.outputs.discrete[1]]
    return heated[1]


def case(bug: Any, ramp: Any) -> Case:
    heal_s = 60.0 * (bug.minutes - bug.healed_min) if bug.healed_min else None
    orders = [(round(60.0 * at / SCAN_S), Command(f"{verb}-{at}", verb, "test")) for at, verb in bug.orders]
    if bug.attended and heal_s is not None:
        orders += after_healing(heal_s, SCAN_S)
    return Case(
        seed=1, base=BASES[BASE], moment=ramp, outdoor=BASES[BASE].outdoor, hours=bug.minutes / 60.0, scan_s=SCAN_S,
        heal_s=heal_s, faults=bug.faults, orders=tuple(orders), attended=bug.attended,
    )


def rule(bug: Any, ramp: Any) -> str:
    """What is found."""
    found = trial.run(case(bug, ramp)).violation
    return "" if found is None else str(found.rule)


@pytest.mark.parametrize("bug", BUGS, ids=[f"{bug.names}: {bug.says}" for bug in BUGS])
def test_a_planted_bug_is_named_by_its_rule(bug: Any, ramp: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    for where, wrong in bug.where:
        plant(where, wrong, monkeypatch)
    assert rule(bug, ramp) == bug.names


@pytest.mark.parametrize("bug", [bug for bug in BUGS if bug.faults or bug.orders], ids=lambda bug: bug.says)
def test_what_provokes_it_breaks_nothing_without_the_bug(bug: Any, ramp: Any) -> None:
    assert rule(bug, ramp) == ""


def test_no_rule_is_without_its_bug() -> None:
    assert {bug.names for bug in BUGS} == {*RULES, trial.LIVENESS, trial.CRASH}
