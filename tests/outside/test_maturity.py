"""Maturity indexes against published examples, and against tables computed anew with the same formulas."""

from __future__ import annotations

import pytest

from controller.core.product import maturity

RATES = {  # degC: FHP, Ea 38.3, 40, 45 kJ/mol, EN 1992 B.10, Nurse-Saul -10 and 0, Q = 5000 K at 23 degC
    5: (0.2925, 0.4285, 0.4127, 0.3695, 0.4778, 0.5000, 0.2500, 0.3354),
    10: (0.4974, 0.5741, 0.5601, 0.5210, 0.6161, 0.6667, 0.5000, 0.4606),
    20: (1.0, 1.0, 1.0, 1.0, 0.9981, 1.0, 1.0, 0.8413),
    25: (1.2592, 1.3015, 1.3168, 1.3629, 1.2551, 1.1667, 1.2500, 1.1199),
    30: (1.5737, 1.6793, 1.7184, 1.8387, 1.5662, 1.3333, 1.5000, 1.4768),
    35: (1.9524, 2.1489, 2.2231, 2.4565, 1.9406, 1.5000, 1.7500, 1.9299),
    40: (2.4057, 2.7282, 2.8525, 3.2518, 2.3880, 1.6667, 2.0000, 2.5006),
    50: (3.5824, 4.3011, 4.5888, 5.5515, 3.5470, 2.0000, 2.5000, 4.0986),
    60: (5.2086, 6.5980, 7.1744, 9.1782, 5.1448, 2.3333, 3.0000, 6.5214),
}
PROFILE = [  # h: Nurse-Saul 0 and -10 in degC h; equivalent ages in h at 33.5, 40, 45 kJ/mol, B.10, Q = 5000 K at 23
    (2, 40, 60, 2.000, 2.000, 2.000, 1.996, 1.683),
    (3, 62.5, 92.5, 3.123, 3.149, 3.169, 3.117, 2.654),
    (4, 90, 130, 4.532, 4.655, 4.754, 4.520, 3.942),
    (5, 122.5, 172.5, 6.287, 6.611, 6.882, 6.265, 5.632),
    (20, 647.5, 847.5, 35.573, 39.958, 43.730, 35.374, 34.581),
    (21, 681.25, 891.25, 37.424, 42.044, 46.017, 37.214, 36.387),
    (22, 712.5, 932.5, 39.086, 43.878, 47.995, 38.868, 37.967),
    (23, 741.25, 971.25, 40.576, 45.487, 49.703, 40.351, 39.347),
    (24, 767.5, 1007.5, 41.908, 46.895, 51.173, 41.678, 40.548),
]
Q5000_AT_23 = maturity.arrhenius_rate(5000.0 * 8.314 / 1000.0, 23.0)


def profile_degC(hour: float) -> float:
    """2 h at 20 degC, 3 h ramp to 35, hold to 20 h, 4 h ramp to 25."""
    if hour <= 5.0:
        return 20.0 + 5.0 * max(0.0, hour - 2.0)
    return 35.0 - 2.5 * max(0.0, hour - 20.0)


@pytest.mark.outside("published: civinnovate.com, quality control of concrete 9 (2026-06-22): 728 degC days")
def test_28_days_at_15_degrees_with_datum_minus_11_are_728_degree_days() -> None:
    assert maturity.nurse_saul_maturity([0.0, 28.0], [15.0, 15.0], -11.0) == pytest.approx(728.0)


@pytest.mark.outside("published: worked example in a maturity tutorial after ASTM C1074: 3500 degC h, 152 h, 49 degC")
def test_3500_degree_hours_at_23_degrees_are_152_hours_and_in_three_days_need_49_degrees() -> None:
    hours = 152.17
    assert maturity.nurse_saul_maturity([0.0, hours], [23.0, 23.0], 0.0) == pytest.approx(3500.0, abs=0.5)
    assert maturity.nurse_saul_maturity([0.0, 72.0], [48.61, 48.61], 0.0) == pytest.approx(3500.0, abs=0.5)
    assert round(hours) == 152
    assert round(48.61) == 49


@pytest.mark.outside("published: NIST, Garboczi et al. ACS 2005, Ea 45.5 kJ/mol: about 3.3 times at 40 against 20 degC")
def test_45_5_kilojoules_triple_the_rate_at_40_degrees() -> None:
    rate = maturity.arrhenius_rate(45.5)
    assert rate(40.0) / rate(20.0) == pytest.approx(3.3, abs=0.05)
    assert rate(40.0) == pytest.approx(3.2947, abs=1e-4)  # recomputed


@pytest.mark.outside("recomputed: ASTM C1074; Freiesleben Hansen and Pedersen 1977; EN 1992-1-1:2004 (B.10)")
@pytest.mark.parametrize("t", RATES)
def test_rate_factors_of_every_index(t: int) -> None:
    found = (
        maturity.hansen_pedersen_rate(t),
        maturity.arrhenius_rate(38.3)(t),
        maturity.arrhenius_rate(40.0)(t),
        maturity.arrhenius_rate(45.0)(t),
        maturity.eurocode_rate(t),
        maturity.nurse_saul_rate(t, -10.0),
        maturity.nurse_saul_rate(t, 0.0),
        Q5000_AT_23(t),
    )
    assert found == pytest.approx(RATES[t], abs=1e-4)


@pytest.mark.outside("recomputed: hourly sums over the curing profile, the same formulas")
@pytest.mark.parametrize("row", PROFILE, ids=lambda row: f"{row[0]} h")
def test_indexes_along_a_curing_profile(row: tuple[float, ...]) -> None:
    """The table takes hourly mean temperatures; so does this test."""
    hours = range(int(row[0]))
    means = [profile_degC(hour + 0.5) for hour in hours]
    found = [
        sum(max(0.0, mean) for mean in means),
        sum(mean + 10.0 for mean in means),
        *(sum(map(rate, means)) for rate in map(maturity.arrhenius_rate, (33.5, 40.0, 45.0))),
        sum(map(maturity.eurocode_rate, means)),
        sum(map(Q5000_AT_23, means)),
    ]
    assert found == pytest.approx(row[1:], abs=0.01)


@pytest.mark.outside("recomputed: 46.9116 h by midpoint at one minute")
def test_integration_by_the_minute_reaches_the_exact_value() -> None:
    """The trapezoid must agree to 1e-3, a left rule does not."""
    minutes = [minute / 60.0 for minute in range(24 * 60 + 1)]
    temperatures = [profile_degC(time) for time in minutes]
    rate = maturity.arrhenius_rate(40.0)
    assert maturity.integrate(minutes, temperatures, rate) == pytest.approx(46.9116, abs=1e-3)
    hourly_left = sum(rate(profile_degC(float(hour))) for hour in range(24))
    assert abs(hourly_left - 46.9116) > 0.1


@pytest.mark.outside("recomputed: the same profile moved by the bias, Ea 40 kJ/mol")
@pytest.mark.parametrize(("bias_K", "age_h"), [(-2, 42.30), (-1, 44.56), (1, 49.37), (2, 51.95)])
def test_a_kelvin_of_probe_bias_is_five_percent_of_age(bias_K: float, age_h: float) -> None:
    minutes = [minute / 60.0 for minute in range(24 * 60 + 1)]
    temperatures = [profile_degC(time) + bias_K for time in minutes]
    assert maturity.integrate(minutes, temperatures, maturity.arrhenius_rate(40.0)) == pytest.approx(age_h, abs=0.01)
