"""Every check of the verification report holds, and sees the error that is planted for it."""

from __future__ import annotations

import pytest

from verification.check import Check, Effort
from verification.checks import ALL
from verification.results import sown

SOWN = [(check, plant) for check in ALL for plant in check.plants]


@pytest.mark.parametrize("check", ALL, ids=lambda check: check.name)
def test_check_holds(check: Check) -> None:
    wrong = [figure for figure in check.run(Effort.GATE) if not figure.holds]
    assert not wrong
    if check.sized:
        assert all(figure.holds for figure in check.run(Effort.PLANTED)), "also at the size errors are planted at"


@pytest.mark.parametrize(("check", "plant"), SOWN, ids=[f"{check.name}: {plant.what}" for check, plant in SOWN])
def test_check_sees_its_planted_error(check, plant) -> None:
    assert sown(check, plant).caught


def test_every_check_has_a_planted_error_a_formula_and_a_source() -> None:
    assert len({check.name for check in ALL}) == len(ALL) > 20
    assert all(check.plants and check.formula and check.source and check.proves for check in ALL)
