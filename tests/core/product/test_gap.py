"""Doubt after a gap: bounds that hold whatever the product did unseen, and what counts for ready."""

from __future__ import annotations

from dataclasses import replace
from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.config.find import find
from controller.config.loader import load
from controller.core.climate.climate import Climate
from controller.core.product import gap
from controller.core.product.maturity import across_gap, arrhenius_rate
from controller.core.product.mix import Mix

MIX = load(find("mix", "demo-60"), Mix)
COLD = replace(MIX, heat_J_per_kg=0.0)
RATE = arrhenius_rate(MIX.activation_energy_kJ_per_mol, MIX.reference_degC)
RISE_K = 318_000.0 * 350.0 / 2300.0 / 900.0  # all heat of demo-60 in 0.9 kJ/kgK


def test_without_heat_of_its_own_it_was_as_warm_as_it_was_found_at_most_and_as_the_air_around_at_least() -> None:
    least, most = gap.gains_h(COLD, RATE, 10.0, 30.0, 25.0, 8.0, 2.0, heated=True)
    assert (least, most) == (pytest.approx(2.0 * RATE(8.0)), pytest.approx(2.0 * RATE(30.0)))
    least, most = gap.gains_h(COLD, RATE, 10.0, 30.0, 25.0, 8.0, 2.0, heated=False)
    assert (least, most) == (pytest.approx(2.0 * RATE(25.0)), pytest.approx(2.0 * RATE(30.0))), "nothing heated it"
    assert gap.gains_h(COLD, RATE, 10.0, 20.0, 30.0, 25.0, 2.0, heated=True)[0] == pytest.approx(2.0 * RATE(20.0))


@given(
    age_h=st.floats(0.0, 60.0), before=st.floats(5.0, 45.0), after=st.floats(5.0, 45.0), around=st.floats(-20.0, 35.0),
    hours=st.floats(0.1, 72.0), heated=st.booleans(),
)
def test_the_estimate_always_lies_between_and_no_age_falls(
    age_h: float, before: float, after: float, around: float, hours: float, heated: bool
) -> None:
    least, most = gap.gains_h(MIX, RATE, age_h, before, after, around, hours, heated=heated)
    assert 0.0 < least <= hours * across_gap(RATE, before, after) * (1 + 1e-9)
    assert most >= hours * across_gap(RATE, before, after) * (1 - 1e-9)


@given(age_h=st.floats(1.0, 40.0), before=st.floats(10.0, 35.0), hours=st.floats(0.5, 24.0), kept=st.floats(0.0, 1.0))
def test_product_that_keeps_a_share_of_its_heat_stays_within_the_bounds(
    age_h: float, before: float, hours: float, kept: float
) -> None:
    """Goal: the bounds hold. Method: product that loses a share of its heat, in steps of a minute, its age summed."""
    T, age, minutes = before, age_h, round(60 * hours)
    for _ in range(minutes):
        was = gap._degree(MIX, age)
        age += RATE(T) / 60.0
        T += kept * RISE_K * (gap._degree(MIX, age) - was)
    least, most = gap.gains_h(MIX, RATE, age_h, before, T, min(before, T), minutes / 60.0, heated=False)
    assert least * (1 - 1e-3) <= age - age_h <= most * (1 + 1e-3)


def test_of_hall_and_outdoor_air_the_colder_known_one_counts(air: Climate) -> None:
    assert gap.around_degC(air) == 8.0
    assert gap.around_degC(replace(air, outdoor_degC=nan)) == 15.0
    assert gap.around_degC(replace(air, outdoor_degC=nan, hall_degC=nan)) == gap.COLDEST_DEGC


def test_doubts_of_several_gaps_add_up() -> None:
    assert gap.summed((), [0.5, 1.0]) == (0.5, 1.0)
    assert gap.summed((0.5, 1.0), [0.25, 0.0]) == (0.75, 1.0)
