"""Fog to outputs: as few banks as can give it, at the speed that gives it, pulsed below the slowest."""

from __future__ import annotations

import pytest

from controller.core.actuation import fogging, pulses
from controller.core.equipment.actuators import BankConfig, FogConfig

PUMP = FogConfig(modulation="SC-102", pct_min=40.0)
PLAN = fogging.plan(PUMP)


def run(kg_per_h: float, scans: int, plan=PLAN, ready: bool = True, banks=None):
    banks = tuple(pulses.at_rest(bank) for bank in plan.banks) if banks is None else banks
    water, seen = 0.0, []
    for _ in range(scans):
        banks, _, pct = fogging.step(plan, banks, kg_per_h, ready, 1.0)
        water += sum(size * bank.on for size, bank in zip(plan.kg_per_h, banks, strict=True)) * pct / 100.0
        seen.append((pct, *(bank.on for bank in banks)))
    return water / scans, seen, banks


@pytest.mark.parametrize("kg_per_h", [1.0, 5.0, 10.0, 15.0, 18.0, 30.0, 60.0])
def test_the_mean_is_what_was_asked(kg_per_h):
    mean, _, banks = run(kg_per_h, 4 * 3600)
    assert mean == pytest.approx(kg_per_h, rel=0.03)
    assert all(bank.strokes <= 4 * 3600 / plan.cycle_s + 1 for bank, plan in zip(banks, PLAN.banks, strict=True))


@pytest.mark.parametrize(("kg_per_h", "pct"), [(10.0, 66.7), (15.0, 100.0), (30.0, 50.0), (60.0, 100.0)])
def test_within_its_range_the_pump_does_it_without_pulses(kg_per_h, pct):
    _, seen, banks = run(kg_per_h, 3600)
    assert {round(speed, 1) for speed, *_ in seen[200:]} == {pct}
    assert sum(bank.strokes for bank in banks) <= 2


def test_the_small_bank_alone_while_it_can():
    _, seen, _ = run(12.0, 600)
    assert not any(second for _, _, second in seen)


def test_more_than_all_is_all():
    mean, _, _ = run(100.0, 3600)
    assert mean == pytest.approx(60.0, rel=0.01)


def test_nothing_asked_or_not_ready_stops_pump_and_banks():
    _, _, banks = run(30.0, 600)
    for asked, ready in ((0.0, True), (30.0, False)):
        _, seen, _ = run(asked, 100, banks=banks, ready=ready)
        assert seen[-1] == (0.0, False, False)
    _, seen, _ = run(30.0, 1, banks=banks, ready=False)
    assert seen[0] == (0.0, False, False)


def test_a_humidifier_is_one_bank_with_an_output():
    config = FogConfig(
        kind="steam", modulation="SC-102", pct_min=10.0, bank=(BankConfig(tag="X", kg_per_h=30.0, cycle_s=120.0),)
    )
    mean, seen, _ = run(9.0, 3600, fogging.plan(config))
    assert mean == pytest.approx(9.0, rel=0.04)
    assert seen[-1] == (pytest.approx(30.0), True)


def test_banks_without_a_pump_have_no_output():
    _, seen, _ = run(20.0, 600, fogging.plan(FogConfig()))
    assert {pct for pct, *_ in seen} == {0.0}


def test_a_pulse_that_has_to_last_runs_out_at_the_slowest_speed():
    """Nothing is asked any more, but the bank may not shut before its shortest time."""
    _, seen, banks = run(2.0, 2000)
    while not any(bank.on for bank in banks):
        _, seen, banks = run(2.0, 1, banks=banks)
    assert seen[-1][0] > 0.0
    _, after, _ = run(0.0, 1, banks=banks)
    assert after[0][0] == PUMP.pct_min
    assert any(after[0][1:])
