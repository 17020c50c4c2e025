"""Maturity arithmetic: what must hold whatever the numbers. Published values: tests/outside."""

from __future__ import annotations

import pytest

from controller.core.product import maturity


def test_rate_is_one_at_the_reference() -> None:
    for reference in (20.0, 23.0):
        assert maturity.arrhenius_rate(40.0, reference)(reference) == pytest.approx(1.0, abs=1e-12)


def test_nothing_accrues_below_the_datum() -> None:
    """A negative increment would make concrete younger."""
    assert maturity.nurse_saul_rate(-15.0, -10.0) == 0.0
    assert maturity.nurse_saul_maturity([0.0, 5.0, 10.0], [-20.0, -20.0, -20.0], -10.0) == 0.0


def test_an_empty_or_single_history_has_no_age() -> None:
    rate = maturity.arrhenius_rate(40.0)
    assert maturity.integrate([], [], rate) == 0.0
    assert maturity.integrate([3.0], [35.0], rate) == 0.0


def test_a_gap_is_bridged_nearly_as_if_it_had_been_seen() -> None:
    """Three hours from 20 to 35 degC known only by their ends, against the same line seen by the minute."""
    rate = maturity.arrhenius_rate(40.0)
    times = [minute / 60.0 for minute in range(181)]
    seen = maturity.integrate(times, [20.0 + 5.0 * time for time in times], rate)
    assert 3.0 * maturity.across_gap(rate, 20.0, 35.0) == pytest.approx(seen, rel=1e-4)
    assert 1.5 * (rate(20.0) + rate(35.0)) > 1.02 * seen  # two ends alone would give too much


def test_many_rates_at_once_are_the_same_bits_as_one_by_one() -> None:
    temperatures = [-5.0, 0.1, 20.0, 33.3, 60.7]
    rate, rates = maturity.arrhenius_rate(40.1, 21.3), maturity.arrhenius_rates(40.1, 21.3)
    assert rates(temperatures) == [rate(temperature) for temperature in temperatures]


def test_formulas_with_an_energy_of_their_own_slow_down_in_the_cold_and_meet_at_20_degC() -> None:
    assert maturity.hansen_pedersen_rate(20.0) == pytest.approx(1.0, abs=1e-12)
    assert maturity.eurocode_rate(20.0) == pytest.approx(0.9981, abs=5e-5)
    plain = maturity.arrhenius_rate(33.5)
    assert maturity.hansen_pedersen_rate(5.0) < plain(5.0)
    assert maturity.hansen_pedersen_rate(40.0) == pytest.approx(plain(40.0))
    assert maturity.eurocode_rate(5.0) < maturity.eurocode_rate(30.0)
