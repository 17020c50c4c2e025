"""Key figures: each checked on a series whose answer can be worked out by hand."""

import math

import pytest

from controller.report import kpis

BAND = kpis.Band(floor_degC=30.0, ceiling_degC=36.0, fog_below_pct=95.5, accept_pct=94.0)


def series(**changes):
    n = 8
    columns = {
        "temperature_mean": [31.0] * n,
        "temperature_min": [30.8] * n,
        "temperature_max": [31.3] * n,
        "rh_mean": [96.0] * n,
        "rh_min": [95.0] * n,
        "rh_max": [97.0] * n,
        "dew_point": [30.3] * n,
        "dew_margin": [0.4, 0.3, 0.5, 0.2, 0.1, 0.6, 0.7, 0.8],
        "surface": [0, 0, 1, 1, 2, 2, 0, 0],
        "surface_names": ["ceiling", "board bay 1 level 1", "board bay 6 level 1"],
        "drying": [0.02, -0.01, 0.02, -0.01] * 2,
        "core_max": [20.0 + 0.5 * k for k in range(n)],
        "product_spread": [0.5] * n,
        "age_min": [float(k) for k in range(n)],
        "age_mean": [k + 0.5 for k in range(n)],
        "age_max": [k + 1.0 for k in range(n)],
    }
    columns.update(changes)
    return kpis.Series(dt_s=1800.0, hold_from=4, hold_to=8, **columns)


def test_a_hold_inside_its_band_is_wholly_in_band_and_names_the_surface_of_the_smallest_margin():
    block = kpis.describe(series(), BAND)
    hold = block["hold"]
    assert hold["hours"] == 2.0
    assert hold["start_h"] == 2.0
    assert hold["in_band_pct"] == 100.0
    assert hold["dew_margin_K"] == {"min": 0.1, "surface": "board bay 6 level 1"}
    assert hold["temperature_degC"]["spread_p95"] == pytest.approx(0.5)
    assert hold["temperature_degC"]["off_mean_max"] == pytest.approx(0.3)


@pytest.mark.parametrize(
    "change",
    [
        {"temperature_mean": [31.0] * 6 + [29.9, 31.0]},
        {"temperature_min": [30.8] * 6 + [29.9, 30.8]},
        {"temperature_max": [31.3] * 6 + [32.1, 31.3]},
        {"rh_min": [95.0] * 6 + [93.9, 95.0]},
    ],
)
def test_each_breach_of_the_band_costs_its_share_of_the_hold(change):
    assert kpis.describe(series(**change), BAND)["hold"]["in_band_pct"] == 75.0


def test_drying_is_the_mean_of_the_positive_part_and_wetting_is_counted_apart():
    block = kpis.describe(series(), BAND)
    assert block["drying_kg_per_m2h"]["mean"] == pytest.approx(0.01)
    assert block["wetting_kg_per_m2"] == pytest.approx(4 * 0.01 * 0.5)


def test_the_fastest_ramp_is_the_rise_over_an_hour():
    assert kpis.describe(series(), BAND)["product"]["ramp_K_per_h_max"] == pytest.approx(1.0)


def test_a_cycle_without_a_hold_says_so_instead_of_inventing_figures():
    base = series()
    empty = kpis.Series(**{name: getattr(base, name) for name in base.__slots__} | {"hold_from": 8, "hold_to": 8})
    hold = kpis.describe(empty, BAND)["hold"]
    assert hold["start_h"] is None
    assert hold["hours"] == 0.0
    assert hold["in_band_pct"] is None
    assert hold["dew_margin_K"] == {"min": None, "surface": None}


def test_unknown_samples_are_left_out_of_every_figure():
    block = kpis.describe(series(rh_min=[math.nan] * 7 + [94.5]), BAND)
    assert block["hold"]["rh_pct"]["min"] == 94.5


@pytest.mark.outside("library: numpy.percentile, method linear")
@pytest.mark.parametrize("pct", [0.0, 5.0, 50.0, 95.0, 100.0])
def test_percentile_equals_numpys(pct):
    import numpy as np

    samples = [3.0, 1.0, 2.0, 7.5, -4.0, 0.25]
    assert kpis.percentile(samples, pct) == pytest.approx(np.percentile(samples, pct), rel=1e-12)
