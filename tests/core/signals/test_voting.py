"""Siblings: NaN never takes part, one liar never moves the mean."""

from __future__ import annotations

from math import isnan, nan

import pytest

from controller.core.signals import voting


def mean(values: list[float], weights: list[float]) -> float:
    return voting.robust_mean(values, weights, voting.agreeing(values, 5.0))


def test_median_of_odd_even_and_none() -> None:
    assert voting.median([3.0, 1.0, 2.0]) == 2.0
    assert voting.median([4.0, 1.0, 2.0, 3.0]) == 2.5
    assert voting.median([nan, 2.0, nan]) == 2.0
    assert isnan(voting.median([nan, nan]))
    assert isnan(voting.median([]))


@pytest.mark.parametrize("place", range(5))
def test_nan_does_not_change_the_least_wherever_it_stands(place: int) -> None:
    values = [4.0, 1.0, 3.0, 2.0]
    values.insert(place, nan)
    assert voting.least(values) == 1.0
    assert isnan(voting.least([nan]))
    assert isnan(voting.least([]))


def test_one_liar_is_named_and_left_out() -> None:
    values = [30.0, 30.2, 12.0, 30.1]
    assert voting.disagreeing(values, 5.0) == (2,)
    assert mean(values, [1.0] * 4) == pytest.approx(30.1)


def test_nan_neither_agrees_nor_disagrees() -> None:
    assert voting.disagreeing([nan, 30.0, 30.0], 5.0) == ()
    assert voting.agreeing([nan, 30.0, 30.0], 5.0) == (1, 2)


def test_two_far_apart_outvote_nobody() -> None:
    assert voting.disagreeing([20.0, 40.0], 5.0) == (0, 1)
    assert isnan(mean([20.0, 40.0], [1.0, 1.0]))


def test_weights_count_and_weightless_probes_still_give_a_mean() -> None:
    assert mean([30.0, 31.0], [3.0, 1.0]) == pytest.approx(30.25)
    assert mean([30.0, 31.0], [0.0, 0.0]) == pytest.approx(30.5)


def test_exactly_at_the_limit_still_agrees() -> None:
    values = [30.0, 30.0, 35.0, 35.5]
    assert voting.agreeing(values, 2.5) == (0, 1, 2)
    assert voting.disagreeing(values, 2.5) == (3,)
