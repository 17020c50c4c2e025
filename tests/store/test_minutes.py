"""A minute keeps least, mean, greatest and worst, and NaN spoils nothing but itself."""

from __future__ import annotations

import math
from statistics import fmean

import pytest

from controller.store.minutes import COLUMN_BYTES, pack_minute, unpack_minute

NAN = math.nan
CLOSE = 1e-6  # 32-bit floats


def fold(*column: float) -> tuple[float, float, float, int]:
    """One computed column folded."""
    return unpack_minute(pack_minute([()] * len(column), [(value,) for value in column], [()] * len(column)))[0]


def test_least_mean_greatest_of_every_column() -> None:
    values = [(30.0 + 0.1 * (scan % 7), -5.0) for scan in range(60)]
    minute = unpack_minute(pack_minute(values, [(float(scan),) for scan in range(60)], [(0, 0)] * 60))
    assert len(minute) == 3
    assert minute[0] == pytest.approx((30.0, fmean(row[0] for row in values), 30.6, 0), rel=CLOSE)
    assert minute[1] == (-5.0, -5.0, -5.0, 0)
    assert minute[2] == (0.0, 29.5, 59.0, 0)


def test_worst_quality_of_the_minute_counts() -> None:
    qualities = [(0, 0, 0)] * 58 + [(0, 1, 0), (2, 0, 0)]
    assert [row[3] for row in unpack_minute(pack_minute([(1.0, 2.0, 3.0)] * 60, [()] * 60, qualities))] == [2, 1, 0]


@pytest.mark.parametrize("place", [0, 1, 2])
def test_nan_takes_no_part_wherever_it_stands_and_makes_a_computed_column_bad(place: int) -> None:
    column = [1.0, 3.0]
    column.insert(place, NAN)
    assert fold(*column) == (1.0, 2.0, 3.0, 2)


def test_a_column_of_nothing_is_nan_and_bad() -> None:
    least, mean, greatest, quality = fold(NAN, NAN)
    assert [math.isnan(number) for number in (least, mean, greatest)] == [True, True, True]
    assert quality == 2


def test_numbers_too_great_for_32_bits_are_clamped() -> None:
    least, _mean, greatest, quality = fold(-math.inf, 1e300)
    assert (least, greatest, quality) == (pytest.approx(-3.4e38), pytest.approx(3.4e38), 0)


def test_a_value_that_comes_back_to_its_start_is_not_taken_for_constant() -> None:
    first = 5.0
    assert fold(first, 9.0, first) == pytest.approx((5.0, 19.0 / 3.0, 9.0, 0), rel=CLOSE)


def test_one_column_can_be_cut_out() -> None:
    row = pack_minute([(1.0, 2.0)], [(3.0,)], [(0, 1)])
    assert unpack_minute(row[COLUMN_BYTES : 2 * COLUMN_BYTES]) == [(2.0, 2.0, 2.0, 1)]
