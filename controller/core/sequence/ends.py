"""When a phase is over: its end conditions, bound to seconds and thresholds that compare without asking."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from controller.core.product.product import Product
from controller.core.sequence.recipe import Phase

_WORDS = ("phase time", "cycle time", "equivalent age", "product warm enough", "product cool enough",
          "strength, estimated", "in band", "the last board is in", "the last board is out")


@dataclass(frozen=True, slots=True)
class EndPlan:
    """Thresholds of one phase; an unset condition stands at infinity, where it never holds.

    by_product: whether age, temperature, strength or number of boards can end it. full, empty: the last one in, out.
    required: for match "all", which of the nine conditions must hold; empty for "any".
    by_setpoint: the band counts as reached when the setpoint has arrived (a cooldown without conditions).
    """

    time_s: float
    cycle_s: float
    equivalent_age_h: float
    above_degC: float
    below_degC: float
    strength_MPa: float
    in_band: bool
    at_least_s: float
    at_most_s: float
    required: tuple[int, ...]
    by_setpoint: bool
    by_product: bool
    full: bool
    empty: bool


def bind(phase: Phase) -> EndPlan:
    """The end of one phase. A ramp or cooldown without any condition ends when its band is reached."""
    end = phase.end
    given = (end.time_h, end.cycle_h, end.equivalent_age_h, end.product_degC_above, end.product_degC_below,
             end.strength_MPa)
    arrives = (
        phase.kind in ("ramp", "cooldown") and not end.by_operator and not end.in_band
        and not end.full and not end.empty and all(value is None for value in given)
    )
    in_band = end.in_band or arrives
    asked = (*given, in_band or None, end.full or None, end.empty or None)
    required = tuple(number for number, value in enumerate(asked) if value is not None)
    return EndPlan(
        time_s=_or_never(end.time_h, 3600.0), cycle_s=_or_never(end.cycle_h, 3600.0),
        equivalent_age_h=_or_never(end.equivalent_age_h),
        above_degC=_or_never(end.product_degC_above),
        below_degC=-inf if end.product_degC_below is None else end.product_degC_below,
        strength_MPa=_or_never(end.strength_MPa),
        in_band=in_band, at_least_s=end.at_least_h * 3600.0, at_most_s=_or_never(end.at_most_h, 3600.0),
        required=required if end.match == "all" else (), by_setpoint=arrives and phase.kind == "cooldown",
        by_product=end.full or end.empty or any(value is not None for value in given[2:]), full=end.full,
        empty=end.empty,
    )


def over(end: EndPlan, phase_s: float, spent_s: float, cycle_s: float, product: Product, in_band: bool) -> str:
    """Why the phase ends now, in words; "" while it goes on.

    phase_s: its clock; spent_s: the same with waiting; in_band: the caller's finding. An unknown product (not ok)
    fulfils nothing, so a phase that ends by the product goes on until at_most_h.
    """
    if spent_s >= end.at_most_s:
        return "longest time"
    if phase_s < end.at_least_s:
        return ""
    if end.required:
        holds = _holding(end, phase_s, cycle_s, product, in_band)
        return "all its conditions" if all(holds[number] for number in end.required) else ""
    if (
        phase_s < end.time_s
        and cycle_s < end.cycle_s
        and not (end.in_band and in_band)
        and not (
            end.by_product
            and (
                (end.full and product.full)
                or (end.empty and product.empty)
                or (product.ok and (
                    product.age_h_min >= end.equivalent_age_h
                    or product.core_degC >= end.above_degC
                    or product.core_degC_max <= end.below_degC
                    or product.strength_MPa_min >= end.strength_MPa
                ))
            )
        )
    ):
        return ""
    holds = _holding(end, phase_s, cycle_s, product, in_band)
    return next(word for word, held in zip(_WORDS, holds, strict=True) if held)


def _holding(
    end: EndPlan, phase_s: float, cycle_s: float, product: Product, in_band: bool
) -> tuple[bool, bool, bool, bool, bool, bool, bool, bool, bool]:
    ok = product.ok
    return (
        phase_s >= end.time_s,
        cycle_s >= end.cycle_s,
        ok and product.age_h_min >= end.equivalent_age_h,
        ok and product.core_degC >= end.above_degC,
        ok and product.core_degC_max <= end.below_degC,
        ok and product.strength_MPa_min >= end.strength_MPa,
        end.in_band and in_band,
        end.full and product.full,
        end.empty and product.empty,
    )


def _or_never(value: float | None, factor: float = 1.0) -> float:
    return inf if value is None else value * factor
