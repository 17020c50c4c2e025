"""How long until a limit is met: straight lines, and the mean that the alarms count."""

from __future__ import annotations

from math import inf, isnan, nan

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from controller.callout.by_when import Facts, Limit, dry_limit_s, limits, slope


def trend(now: float, per_h: float, minutes: int = 30) -> tuple[tuple[float, float], ...]:
    return tuple((60.0 * minute, now + per_h * (minute - minutes) / 60.0) for minute in range(minutes + 1))


def facts(**changes: object) -> Facts:
    known = {"drying_kg_per_m2": 0.0, "drying_s": 0.0, "mean_h_min": 4.0, "drying_mean_max": 0.1,
             "core_degC_max": 58.0, "ready_age_h": 30.0}
    return Facts(**(known | changes))  # type: ignore[arg-type]


def of(found: tuple[Limit, ...], what: str) -> Limit:
    return next(limit for limit in found if limit.what == what)


def test_the_mean_counts_over_its_least_time_first() -> None:
    """0.1 kg/m2h over at least 4 h is 0.4 kg/m2: from nothing at 0.8 kg/m2h that takes half an hour."""
    assert dry_limit_s(0.0, 600.0, 0.8, 4 * 3600.0, 0.1) == pytest.approx(1800.0)


def test_after_that_a_rate_below_the_limit_never_meets_it() -> None:
    assert dry_limit_s(0.5, 10 * 3600.0, 0.1, 4 * 3600.0, 0.1) == inf
    assert dry_limit_s(0.0, 10 * 3600.0, -0.2, 4 * 3600.0, 0.1) == inf
    assert dry_limit_s(1.1, 10 * 3600.0, 0.0, 4 * 3600.0, 0.1) == 0.0


@given(
    mass=st.floats(0.0, 1.0), since_h=st.floats(0.0, 30.0), rate=st.floats(0.11, 3.0), least_h=st.floats(0.5, 8.0)
)
def test_at_that_time_the_mean_is_the_limit(mass: float, since_h: float, rate: float, least_h: float) -> None:
    """Method: go on at the rate for the time found, and work the mean out as the alarms do."""
    found = dry_limit_s(mass, 3600.0 * since_h, rate, 3600.0 * least_h, 0.1)
    assume(0.0 < found < 1e7)
    later_h = found / 3600.0
    mean = (mass + rate * later_h) / max(since_h + later_h, least_h)
    assert mean == pytest.approx(0.1, rel=1e-6)


def test_a_straight_line_is_found_through_gaps_and_not_from_too_little() -> None:
    assert 3600.0 * slope(trend(3.0, -2.0)) == pytest.approx(-2.0)
    line = trend(3.0, -2.0)
    holed = tuple((time_s, nan if number % 3 == 0 else value) for number, (time_s, value) in enumerate(line))
    assert 3600.0 * slope(holed) == pytest.approx(-2.0)
    assert isnan(slope(trend(3.0, -2.0, minutes=3)))
    assert isnan(slope(()))


def test_only_the_last_quarter_of_an_hour_counts() -> None:
    bent = (*[(60.0 * minute, 5.0) for minute in range(15)], *[(900.0 + 60.0 * n, 5.0 - n / 60.0) for n in range(16)])
    assert 3600.0 * slope(bent) == pytest.approx(-1.0)


def test_limits_are_told_soonest_harm_first_and_the_good_last() -> None:
    found = limits(facts(
        drying_rate=trend(0.8, 0.0), drying_kg_per_m2=0.0, drying_s=600.0, dew_margin_K=trend(0.1, -0.25),
        core_degC=trend(50.0, 2.0), age_h=trend(29.0, 2.0),
    ))
    assert [(limit.what, round(limit.in_s / 60.0)) for limit in found] == [
        ("boards and walls wet", 24), ("product dry limit", 30), ("product too hot", 240), ("product ready", 30)
    ]
    assert found[-1].harm is False
    assert "estimated, not tested" in found[-1].basis


def test_what_is_met_already_is_now() -> None:
    found = limits(facts(dew_margin_K=trend(-0.05, 0.0), core_degC=trend(60.0, -1.0)))
    assert [(limit.what, limit.in_s) for limit in found] == [("boards and walls wet", 0.0), ("product too hot", 0.0)]


def test_far_harm_and_what_gets_better_is_not_told_but_that_it_never_dries_out_is() -> None:
    found = limits(facts(
        drying_rate=trend(0.05, 0.0), drying_s=36_000.0, drying_kg_per_m2=0.2, dew_margin_K=trend(2.0, -0.2),
        core_degC=trend(40.0, -1.0), age_h=trend(3.0, 1.0),
    ))
    assert [(limit.what, limit.in_s) for limit in found] == [("product dry limit", inf)]
    assert "dries at 0.05 kg/m2h now, 0.020 on average of 0.1 allowed" in found[0].basis
    assert limits(facts()) == ()


def test_a_product_that_takes_on_water_is_not_spoken_of() -> None:
    assert limits(facts(drying_rate=trend(-0.1, 0.0), drying_s=36_000.0)) == ()
