"""By when somebody has to be there: how long until a limit is met if things go on as they are.

Straight lines through the last minutes of the record, and the mean drying since the cycle began as the alarms count it.
A guess for the night, not a forecast; each line says on what it rests.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isfinite, isnan

TREND_S = 900.0  # slopes over so long
POINTS_MIN = 5
FARTHEST_H = 24.0  # what lies farther ahead is not told...
HARM_H = 8.0  # ...and a straight line is trusted for harm no longer than this
HOUR_S = 3600.0

Trend = Sequence[tuple[float, float]]  # (time_s, value), oldest first


@dataclass(frozen=True, slots=True)
class Facts:
    """What the record shows. drying_kg_per_m2, drying_s: of the mean since the cycle began. Trends by minute.

    drying_rate: kg/m2h; dew_margin_K, core_degC, age_h: trends. *_max, ready_age_h: limits of the chamber.
    """

    drying_kg_per_m2: float
    drying_s: float
    mean_h_min: float
    drying_mean_max: float
    core_degC_max: float
    ready_age_h: float
    drying_rate: Trend = ()
    dew_margin_K: Trend = ()
    core_degC: Trend = ()
    age_h: Trend = ()


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit and when it is met. in_s: 0 = it is met already, infinity = never as things go. basis: of the guess.

    harm: it costs product; else it is only good to know. always: told also when it is far. key, figures: of what and
    basis, for another language.
    """

    what: str
    in_s: float
    basis: str
    harm: bool = True
    always: bool = False
    key: str = ""
    figures: tuple[tuple[str, float], ...] = ()


def limits(facts: Facts) -> tuple[Limit, ...]:
    """Limits met within a day as things go, the soonest harm first; empty when none is known."""
    found = [_dry(facts), _wet(facts), _hot(facts), _ready(facts)]
    near = [
        limit for limit in found
        if limit is not None and (limit.always or limit.in_s <= HOUR_S * (HARM_H if limit.harm else FARTHEST_H))
    ]
    return tuple(sorted(near, key=lambda limit: (not limit.harm, limit.in_s)))


def dry_limit_s(mass: float, since_s: float, rate: float, least_s: float, limit: float) -> float:
    """Time until the mean drying since the cycle began, over least_s at least, meets its limit; infinity for never.

    mass kg/m2, rate and limit kg/m2h.
    """
    if 3600.0 * mass >= limit * max(since_s, least_s):
        return 0.0
    if not rate > 0.0:
        return inf
    soon = HOUR_S * (limit * least_s / HOUR_S - mass) / rate
    if since_s + soon <= least_s:
        return soon
    return HOUR_S * (limit * since_s / HOUR_S - mass) / (rate - limit) if rate > limit else inf


def slope(trend: Trend) -> float:
    """Least-squares slope per second over the last TREND_S; NaN when there are too few values."""
    known = [(time_s, value) for time_s, value in trend if isfinite(value)]
    recent = [one for one in known if known[-1][0] - one[0] <= TREND_S]
    if len(recent) < POINTS_MIN:
        return float("nan")
    middle = sum(time_s for time_s, _ in recent) / len(recent)
    mean = sum(value for _, value in recent) / len(recent)
    spread = sum((time_s - middle) ** 2 for time_s, _ in recent)
    return sum((time_s - middle) * (value - mean) for time_s, value in recent) / spread


def last(trend: Trend) -> float:
    """The newest value, NaN when there is none."""
    return next((value for _, value in reversed(trend) if isfinite(value)), float("nan"))


def _dry(facts: Facts) -> Limit | None:
    rate = last(facts.drying_rate)
    if isnan(rate):
        return None
    least_s = facts.mean_h_min * HOUR_S
    mean = HOUR_S * facts.drying_kg_per_m2 / max(facts.drying_s, least_s)
    in_s = dry_limit_s(facts.drying_kg_per_m2, facts.drying_s, rate, least_s, facts.drying_mean_max)
    basis = f"dries at {rate:.2f} kg/m2h now, {mean:.3f} on average of {facts.drying_mean_max:g} allowed"
    figures = (("rate", rate), ("mean", mean), ("limit", facts.drying_mean_max))
    return Limit("product dry limit", in_s, basis, always=rate > 0.0, key="dry_basis", figures=figures)


def _wet(facts: Facts) -> Limit | None:
    margin, per_s = last(facts.dew_margin_K), slope(facts.dew_margin_K)
    if isnan(margin):
        return None
    if margin <= 0.0:
        basis = f"dew margin {margin:.2f} K"
        return Limit("boards and walls wet", 0.0, basis, key="wet_now", figures=(("margin", margin),))
    if not per_s < 0.0:
        return None
    basis = f"dew margin {margin:.2f} K, falling by {-HOUR_S * per_s:.2f} K an hour"
    figures = (("margin", margin), ("fall", -HOUR_S * per_s))
    return Limit("boards and walls wet", margin / -per_s, basis, key="wet_basis", figures=figures)


def _hot(facts: Facts) -> Limit | None:
    core, per_s = last(facts.core_degC), slope(facts.core_degC)
    if isnan(core):
        return None
    left = facts.core_degC_max - core
    basis = f"core {core:.1f} degC of {facts.core_degC_max:g} allowed"
    figures = (("core", core), ("limit", facts.core_degC_max))
    if left <= 0.0:
        return Limit("product too hot", 0.0, basis, key="hot_now", figures=figures)
    if not per_s > 0.0:
        return None
    rise = HOUR_S * per_s
    basis += f", rising by {rise:.1f} K an hour"
    return Limit("product too hot", left / per_s, basis, key="hot_basis", figures=(*figures, ("rise", rise)))


def _ready(facts: Facts) -> Limit | None:
    age, per_s = last(facts.age_h), slope(facts.age_h)
    if isnan(age) or not per_s > 0.0:
        return None
    basis = f"{age:.1f} h of {facts.ready_age_h:g} h equivalent age, estimated, not tested"
    figures = (("age", age), ("wanted", facts.ready_age_h))
    in_s = max(0.0, facts.ready_age_h - age) / per_s
    return Limit("product ready", in_s, basis, harm=False, key="ready_basis", figures=figures)
