"""How far equivalent ages may be off after a time in which nobody saw the temperature of the product.

An age goes on through a gap along a straight line of temperature. What is certain: product is never colder than the
coldest air around, and it never warms itself more than its own heat of hydration does without any loss. While there is
no controller nothing heats it either: the panel's watchdog sees to that.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import ceil, exp, isfinite
from typing import Protocol

from controller.core.climate.climate import Climate
from controller.core.frames import Event
from controller.core.product.maturity import Rate
from controller.core.product.mix import Mix

COLDEST_DEGC = -30.0  # taken for the air around where neither hall nor outdoor air is measured
KJ_PER_KGK = 0.9  # of dry concrete, memory; water, boards and racks would take heat too: left out, the rise is more
Span = tuple[Mix, Rate, float, float, float, float, float]  # mix, rate, age before and after, degC before and after, h
BRIDGED = "AGE"  # tag of the journal line
STEP_H, STEPS_MAX = 0.25, 400


def around_degC(climate: Climate) -> float:
    """The coldest air that the product may have come to."""
    known = [degC for degC in (climate.hall_degC, climate.outdoor_degC) if isfinite(degC)]
    return min(known, default=COLDEST_DEGC)


def gains_h(
    mix: Mix, rate: Rate, age_h: float, before_degC: float, after_degC: float, around: float, hours: float,
    heated: bool,
) -> tuple[float, float]:
    """What a place has aged at least and at most in a gap of so many hours, h.

    At most: warmed by all of its heat of hydration, or as warm as it was found. At least: as cold as the air around,
    but no colder than what its own heat could still warm to the temperature that was found. heated: the controller
    was there and may have heated (only the product was not seen), so that this says nothing.
    """
    rise_K = mix.heat_J_per_kg * mix.cement_kg_per_m3 / mix.density_kg_per_m3 / (1000.0 * KJ_PER_KGK)
    steps = min(STEPS_MAX, max(1, ceil(hours / STEP_H)))
    step_h, age, began = hours / steps, age_h, _degree(mix, age_h)
    for _ in range(steps):
        # every step is taken as warm as it is at its end, at the pace of one that was that warm
        guess = age + step_h * rate(max(after_degC, before_degC + rise_K * (_degree(mix, age) - began)))
        warmest = before_degC + rise_K * (_degree(mix, guess) - began)
        age += step_h * rate(max(after_degC, warmest))
    coldest = min(before_degC, after_degC, around)
    if not heated:
        coldest = min(before_degC, max(coldest, after_degC - rise_K * (_degree(mix, age) - began)))
    return hours * rate(coldest), age - age_h


def more(
    younger_h: tuple[float, ...], older_h: tuple[float, ...], spans: Iterable[Span | None], around: float, heated: bool
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """By how much each place may be younger and older, one more gap counted in; None stands for an empty place."""
    less, plus = [], []
    for span in spans:
        if span is None:
            less.append(0.0)
            plus.append(0.0)
            continue
        mix, rate, was_h, age_h, before, after, hours = span
        least, most = gains_h(mix, rate, was_h, before, after, around, hours, heated)
        less.append(max(0.0, age_h - was_h - least))
        plus.append(max(0.0, most - age_h + was_h))
    return summed(younger_h, less), summed(older_h, plus)


def least_ages_h(ages_h: tuple[float, ...], younger_h: tuple[float, ...]) -> tuple[float, ...]:
    """What every place has at least; the estimates themselves while nothing was bridged."""
    return tuple([age - less for age, less in zip(ages_h, younger_h, strict=True)]) if younger_h else ages_h


def summed(known: tuple[float, ...], more: Sequence[float]) -> tuple[float, ...]:
    """Doubt of every place after one more gap; empty = none so far."""
    return tuple([one + other for one, other in zip(known, more, strict=True)]) if known else tuple(more)


class Doubted(Protocol):
    """What a product state knows of its doubt."""

    @property
    def uncertain_s(self) -> float: ...
    @property
    def younger_h(self) -> tuple[float, ...]: ...
    @property
    def older_h(self) -> tuple[float, ...]: ...


def told(before_s: float, state: Doubted) -> Event:
    """The line for the journal after a gap. before_s: what had been bridged before it."""
    bridged_h = (state.uncertain_s - before_s) / 3600.0
    younger, older = max(state.younger_h, default=0.0), max(state.older_h, default=0.0)
    text = (
        f"equivalent age bridged over {bridged_h:.2f} h without readings of the product: it may be up to"
        f" {younger:.2f} h less or {older:.2f} h more than estimated; ready counts what is certain"
    )
    return Event("note", BRIDGED, text, (
        ("bridged_h", bridged_h), ("all_h", state.uncertain_s / 3600.0), ("younger_h", younger), ("older_h", older),
    ))


def _degree(mix: Mix, age_h: float) -> float:
    """Share of the heat of hydration that is out at an equivalent age."""
    return exp(-((mix.heat_tau_h / age_h) ** mix.heat_shape)) if age_h > 0.0 else 0.0
