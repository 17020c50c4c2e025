"""What each alarm of a working chamber is judged by: how far something is beyond its limit.

An excess of 0 or more is bad, NaN is not known. Means (drying since the cycle began, heat against vent over about the
last hour) are kept here too, because limits are set on them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import nan
from typing import Annotated

from annotated_types import Ge, Gt, Le

from controller.core.alarms.losses import LossConfig
from controller.core.climate.climate import Climate
from controller.core.loops.allocation import Demands
from controller.core.product.product import Product
from controller.core.quick import maker
from controller.core.sequence.phases import SequenceState
from controller.core.setpoints import Targets


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmsConfig:
    """[alarms]: limits and output tags.

    dew_margin_K_min: below it a surface counts as close to the dew point. drying_*: kg/m2h, at once and as mean since
    the cycle began (over at least mean_h_min; only the positive part counts). in_hand: switches that should be in
    automatic. battery: contact that is closed while mains feed the controller, "" where there is none.
    fighting_share_max: share of the heat of the last hour that may work against the vent; a mean below
    fighting_kW_min is never counted, or a little heat long ago would stop a ramp. beacon: lit while anything is shown;
    beacon_high, beacon_medium, beacon_low: lamps while something of that priority is, "" where there is none.
    respond_*_min: minutes that somebody may take for an alarm of that priority until its consequence threatens, and
    respond_min for single ones by their tag. Shown as "by when"; control does nothing with it.
    """

    dew_margin_K_min: Annotated[float, Ge(0), Le(5)] = 0.0
    drying_at_once_max: Annotated[float, Gt(0), Le(10)] = 0.5
    drying_mean_max: Annotated[float, Gt(0), Le(10)] = 0.10
    drying_mean_warn: Annotated[float, Gt(0), Le(10)] = 0.05
    mean_h_min: Annotated[float, Gt(0), Le(48)] = 4.0
    spread_K_max: Annotated[float, Gt(0), Le(20)] = 2.0
    below_floor_K_max: Annotated[float, Gt(0), Le(20)] = 2.0
    above_ceiling_K_max: Annotated[float, Gt(0), Le(20)] = 1.5
    fighting_share_max: Annotated[float, Gt(0), Le(1)] = 0.03
    fighting_kW_min: Annotated[float, Ge(0), Le(100)] = 1.0
    in_hand: tuple[str, ...] = ("HS-111", "HS-112", "HS-113")
    mains: str = "YS-110"
    battery: str = ""
    beacon: str = "YL-190"
    beacon_high: str = ""
    beacon_medium: str = ""
    beacon_low: str = ""
    horn: str = "YA-191"
    healthy: str = "YC-192"
    losses: LossConfig = field(default_factory=LossConfig)
    respond_high_min: Annotated[float, Gt(0), Le(10_000)] = 10.0
    respond_medium_min: Annotated[float, Gt(0), Le(10_000)] = 30.0
    respond_low_min: Annotated[float, Gt(0), Le(10_000)] = 240.0
    respond_min: Mapping[str, Annotated[float, Gt(0), Le(10_000)]] = field(default_factory=dict)

    def minutes_to_respond(self, tag: str, priority: str) -> float:
        """How long somebody may take for an alarm until its consequence threatens, min."""
        usual = {"high": self.respond_high_min, "medium": self.respond_medium_min, "low": self.respond_low_min}
        return self.respond_min.get(tag, usual[priority])


@dataclass(frozen=True, slots=True)
class Means:
    """drying_kg_per_m2, drying_s: positive drying since the cycle began. heat_kW, fight_kW: means over about an hour.
    fighting: heat has worked against the vent too much.
    """

    drying_kg_per_m2: float
    drying_s: float
    heat_kW: float
    fight_kW: float
    fighting: bool


NO_MEANS = Means(0.0, 0.0, 0.0, 0.0, False)
MEAN_EVERY_S = 10.0  # the means are brought up so often, it saves a new state in most scans
_MEAN_S = 3600.0
_EMPTY: tuple[float, ...] = (-100.0,) * 5  # of the alarms that concern product, while none stands inside
_means = maker(Means)


def excesses(
    config: AlarmsConfig, means: Means, climate: Climate, targets: Targets, product: Product,
    sequence: SequenceState,
) -> tuple[float, ...]:
    """How far each alarm of a working chamber is beyond its limit, in the order of OWN; NaN where it is not known.

    In a phase without product nothing that concerns product is an alarm.
    """
    mean = climate.temperature_degC
    least_s = config.mean_h_min * 3600.0
    mean_drying = 3600.0 * means.drying_kg_per_m2 / (means.drying_s if means.drying_s > least_s else least_s)
    dries = sequence.hold_start_s is not None and product.surface_degC > climate.dew_point_degC
    of_product = _EMPTY if targets.empty else (
        config.dew_margin_K_min - climate.dew_margin_K,
        product.drying_kg_per_m2h - config.drying_at_once_max if product.ok else nan,
        mean_drying - config.drying_mean_max,
        mean_drying - config.drying_mean_warn,
        targets.rh_accept_pct - climate.rh_pct if dries and targets.rh_accept_pct else -100.0,
    )
    return (
        *of_product,
        climate.spread_K - config.spread_K_max if targets.fan_pct else -100.0,
        targets.floor_degC - config.below_floor_K_max - mean if targets.heat else -100.0,
        mean - targets.ceiling_degC - config.above_ceiling_K_max,
        1.0 if sequence.waiting_long else -1.0,
        1.0 if sequence.state == "held" else -1.0,
        1.0 if means.fighting else -1.0,
    )


def any_beyond(
    config: AlarmsConfig, means: Means, climate: Climate, targets: Targets, product: Product,
    sequence: SequenceState,
) -> bool:
    """Whether any of `excesses` is 0 or more: what nearly every scan asks, so it compares and makes nothing.

    (a >= b exactly where a - b >= 0: a difference of two numbers is never rounded to nothing.)
    """
    mean = climate.temperature_degC
    least_s = config.mean_h_min * 3600.0
    mean_drying = 3600.0 * means.drying_kg_per_m2 / (means.drying_s if means.drying_s > least_s else least_s)
    return (
        (
            not targets.empty
            and (
                config.dew_margin_K_min >= climate.dew_margin_K
                or (product.ok and product.drying_kg_per_m2h >= config.drying_at_once_max)
                or mean_drying >= config.drying_mean_warn
                or mean_drying >= config.drying_mean_max
                or (
                    targets.rh_accept_pct >= climate.rh_pct
                    and sequence.hold_start_s is not None
                    and product.surface_degC > climate.dew_point_degC
                    and targets.rh_accept_pct != 0.0
                )
            )
        )
        or (targets.fan_pct != 0.0 and climate.spread_K >= config.spread_K_max)
        or (targets.heat and targets.floor_degC - config.below_floor_K_max >= mean)
        or mean - targets.ceiling_degC >= config.above_ceiling_K_max
        or sequence.waiting_long
        or sequence.state == "held"
        or means.fighting
    )


def with_means(
    config: AlarmsConfig, means: Means, demands: Demands, product: Product, sequence: SequenceState,
    working: bool, span_s: float, empty: bool = False,
) -> Means:
    """Drying since the cycle began, and heat against vent over about the last hour, brought up by span_s.

    empty: no product stands inside now, so nothing is added to its drying.
    """
    drying, drying_s = means.drying_kg_per_m2, means.drying_s
    heat = fight = 0.0
    if sequence.trail and sequence.cycle_s == 0.0:
        drying = drying_s = 0.0
    if working:
        if product.ok and not empty:
            drying_s += span_s
            if product.drying_kg_per_m2h > 0.0:
                drying += product.drying_kg_per_m2h * span_s / 3600.0
        share = span_s / (_MEAN_S + span_s)
        heat = means.heat_kW + (demands.heat_kW - means.heat_kW) * share
        fight = means.fight_kW + (demands.fighting_kW - means.fight_kW) * share
    fighting = fight > config.fighting_share_max * heat and fight > config.fighting_kW_min
    return _means(drying, drying_s, heat, fight, fighting)
