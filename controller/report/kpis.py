"""Key figures of a cycle from equally spaced samples; the same code for what was true and what was believed.

RH min is the lowest place at any sample of the hold; spread is max - min over places, its p95 over time. in_band_pct
is the share of hold time with the mean in [floor, ceiling] (of a single setpoint: within SINGLE_K), every place
within 1 K of the mean and every place's RH at or above the accepted one. Drying is the positive part, area mean, time
mean from the last board mixed to the end.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

PLACE_BAND_K = 1.0  # every place within +/-1 K of the mean
SINGLE_K = 0.5  # a single setpoint is held when the mean is this near


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Samples of one cycle, one every dt_s seconds, all of the same length. NaN = not known then.

    hold_from, hold_to: sample indexes of the hold (equal when there was none). surface: which surface limits the
    dew margin at each sample, as an index into surface_names.
    """

    dt_s: float
    hold_from: int
    hold_to: int
    temperature_mean: Sequence[float]
    temperature_min: Sequence[float]
    temperature_max: Sequence[float]
    rh_mean: Sequence[float]
    rh_min: Sequence[float]
    rh_max: Sequence[float]
    dew_point: Sequence[float]
    dew_margin: Sequence[float]
    surface: Sequence[int]
    surface_names: Sequence[str]
    drying: Sequence[float]
    core_max: Sequence[float]
    product_spread: Sequence[float]
    age_min: Sequence[float]
    age_mean: Sequence[float]
    age_max: Sequence[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """What the hold asked for."""

    floor_degC: float
    ceiling_degC: float
    fog_below_pct: float
    accept_pct: float


Block = dict[str, object]


def describe(series: Series, band: Band) -> Block:
    """The block `truth` or `believed` of a summary: hold, drying, product."""
    drying = [max(0.0, rate) for rate in known(series.drying)]
    wetting = -sum(min(0.0, rate) for rate in known(series.drying)) * series.dt_s / 3600.0
    return {
        "hold": _hold(series, band),
        "drying_kg_per_m2h": {"mean": digits(mean(drying), 5), "p95": digits(percentile(drying, 95.0), 5)},
        "wetting_kg_per_m2": digits(wetting, 4),
        "product": {
            "core_degC_max": digits(largest(series.core_max), 2),
            "spread_K_p95": digits(percentile(known(series.product_spread), 95.0), 3),
            "ramp_K_per_h_max": digits(_fastest_ramp(series), 2),
            "equivalent_age_h": {
                "min": digits(last(series.age_min), 2),
                "mean": digits(last(series.age_mean), 2),
                "max": digits(last(series.age_max), 2),
            },
        },
    }


def _hold(series: Series, band: Band) -> Block:
    part = slice(series.hold_from, series.hold_to)
    t_mean, t_min, t_max = series.temperature_mean[part], series.temperature_min[part], series.temperature_max[part]
    rh_min, rh_mean, rh_max = series.rh_min[part], series.rh_mean[part], series.rh_max[part]
    spread = [high - low for low, high in zip(t_min, t_max, strict=True) if not math.isnan(high - low)]
    margin = series.dew_margin[part]
    started = series.hold_to > series.hold_from
    smallest_margin = smallest(margin)
    return {
        "start_h": digits(series.hold_from * series.dt_s / 3600.0, 3) if started else None,
        "hours": digits((series.hold_to - series.hold_from) * series.dt_s / 3600.0, 3),
        "temperature_degC": {
            "floor": band.floor_degC,
            "ceiling": band.ceiling_degC,
            "mean": digits(mean(known(t_mean)), 3),
            "min": digits(smallest(t_min), 3),
            "max": digits(largest(t_max), 3),
            "spread_mean": digits(mean(spread), 3),
            "spread_p95": digits(percentile(spread, 95.0), 3),
            "spread_max": digits(largest(spread), 3),
            "off_mean_max": digits(_furthest_from_mean(t_mean, t_min, t_max), 3),
        },
        "rh_pct": {
            "fog_below": band.fog_below_pct,
            "accept": band.accept_pct,
            "mean": digits(mean(known(rh_mean)), 2),
            "min": digits(smallest(rh_min), 2),
            "max": digits(largest(rh_max), 2),
        },
        "dew_point_degC": {"mean": digits(mean(known(series.dew_point[part])), 3)},
        "dew_margin_K": {
            "min": digits(smallest_margin, 3),
            "surface": _surface_at(series, smallest_margin) if started else None,
        },
        "in_band_pct": digits(_in_band_pct(series, band), 2),
    }


def _in_band_pct(series: Series, band: Band) -> float:
    part = slice(series.hold_from, series.hold_to)
    slack = SINGLE_K if band.floor_degC == band.ceiling_degC else 0.0
    low, high = band.floor_degC - slack, band.ceiling_degC + slack
    rows = zip(
        series.temperature_mean[part],
        series.temperature_min[part],
        series.temperature_max[part],
        series.rh_min[part],
        strict=True,
    )
    inside = total = 0
    for t_mean, t_min, t_max, rh_min in rows:
        total += 1
        inside += (
            low <= t_mean <= high
            and t_mean - t_min <= PLACE_BAND_K
            and t_max - t_mean <= PLACE_BAND_K
            and rh_min >= band.accept_pct
        )
    return 100.0 * inside / total if total else math.nan


def _furthest_from_mean(t_mean: Sequence[float], t_min: Sequence[float], t_max: Sequence[float]) -> float:
    return largest([max(m - lo, hi - m) for m, lo, hi in zip(t_mean, t_min, t_max, strict=True)])


def _fastest_ramp(series: Series) -> float:
    """Fastest rise of the mean core over any hour, K/h; NaN for less than an hour."""
    hour = round(3600.0 / series.dt_s)
    core = series.core_max
    return largest([later - earlier for earlier, later in zip(core, core[hour:], strict=False)])


def _surface_at(series: Series, margin: float) -> str | None:
    for sample in range(series.hold_from, series.hold_to):
        if series.dew_margin[sample] == margin:
            return series.surface_names[series.surface[sample]]
    return None


def known(samples: Sequence[float]) -> list[float]:
    """The samples that are numbers."""
    return [sample for sample in samples if sample == sample]  # NaN is the one value unequal to itself


def mean(samples: Sequence[float]) -> float:
    """Arithmetic mean; NaN of nothing."""
    return math.fsum(samples) / len(samples) if samples else math.nan


def percentile(samples: Sequence[float], pct: float) -> float:
    """Percentile with linear interpolation between order statistics; NaN of nothing."""
    if not samples:
        return math.nan
    ordered = sorted(samples)
    place = (len(ordered) - 1) * pct / 100.0
    low = math.floor(place)
    high = min(low + 1, len(ordered) - 1)
    return ordered[low] + (ordered[high] - ordered[low]) * (place - low)


def smallest(samples: Sequence[float]) -> float:
    """Smallest number among the samples; NaN of nothing."""
    return min(known(samples), default=math.nan)


def largest(samples: Sequence[float]) -> float:
    """Largest number among the samples; NaN of nothing."""
    return max(known(samples), default=math.nan)


def last(samples: Sequence[float]) -> float:
    """The last number among the samples; NaN of nothing."""
    numbers = known(samples[-120:])
    return numbers[-1] if numbers else math.nan


def digits(number: float, places: int) -> float | None:
    """Rounded for a file; None for what is not known (JSON has no NaN)."""
    return None if math.isnan(number) else round(number, places)
