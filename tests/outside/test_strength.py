"""Strength curves against published values and recomputed tables."""

from __future__ import annotations

import pytest

from controller.core.product import strength

SHARES = {  # s: share of the 28-day strength at 0.5, 1, 2, 3, 7, 14, 28, 90 days
    0.20: (0.2734, 0.4239, 0.5779, 0.6630, 0.8187, 0.9205, 1.0, 1.0925),
    0.25: (0.1977, 0.3420, 0.5039, 0.5982, 0.7788, 0.9016, 1.0, 1.1169),
    0.38: (0.0851, 0.1958, 0.3528, 0.4580, 0.6839, 0.8544, 1.0, 1.1830),
}


@pytest.mark.outside("published: EN 1992-1-1 equation 3.2, value in the tests of Blueprints (github, commit 58be742)")
def test_eurocode_share_at_ten_days() -> None:
    assert strength.eurocode_share(10.0, 0.25) == pytest.approx(0.84507490, rel=1e-7)


@pytest.mark.outside("published: C40 at 7 days, test_ec2_concrete_02 of XC (github, commit fe707f4): 29.3824376 MPa")
def test_characteristic_strength_of_c40_at_seven_days() -> None:
    """fck(t) = share * fcm - 8 with fcm = 48 (EN 1992-1-1, 3.1.2)."""
    assert strength.eurocode_share(7.0, 0.25) * 48.0 - 8.0 == pytest.approx(29.3824376, abs=1e-6)


@pytest.mark.outside("recomputed: EN 1992-1-1:2004 (3.2)")
@pytest.mark.parametrize("s", SHARES)
def test_eurocode_shares_from_half_a_day_to_90(s: float) -> None:
    days = (0.5, 1, 2, 3, 7, 14, 28, 90)
    assert [strength.eurocode_share(day, s) for day in days] == pytest.approx(SHARES[s], abs=1e-4)


@pytest.mark.outside("recomputed: EN 1992-1-1:2004 (3.2) at 46.91 equivalent hours")
def test_shares_of_a_day_of_accelerated_curing() -> None:
    """46.91 equivalent hours are 0.5729 / 0.4985 / 0.3471 of the 28-day strength."""
    found = [strength.eurocode_share(46.91 / 24.0, s) for s in (0.20, 0.25, 0.38)]
    assert found == pytest.approx([0.5729, 0.4985, 0.3471], abs=1e-4)


@pytest.mark.outside(
    "recomputed: 60 MPa, k 0.02/h from 6 h (hyperbolic, ASTM C1074); 60 MPa, tau 20 h, a 0.6 (exponential)"
)
def test_hyperbolic_and_exponential_curves() -> None:
    hours = (12, 24, 48, 168, 672)
    hyperbolic = [strength.hyperbolic_MPa(hour, 60.0, 0.02, 6.0) for hour in hours]
    exponential = [strength.exponential_MPa(hour, 60.0, 20.0, 0.6) for hour in hours]
    assert hyperbolic == pytest.approx([6.429, 15.882, 27.391, 45.849, 55.810], abs=1e-3)
    assert exponential == pytest.approx([15.420, 24.483, 33.213, 45.397, 53.141], abs=1e-3)
