"""Constraints: they narrow what recipe and loops may do so that surfaces stay dry and the product is spared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Ge, Gt, Le

from controller.core.climate import Climate
from controller.core.moistair import (
    humidity_ratio,
    saturation_pressure_Pa,
    saturation_temperature_degC,
    vapour_pressure_of_ratio_Pa,
)
from controller.core.product import Product
from controller.core.quick import maker
from controller.core.setpoints import Targets

# Saturation pressure changes by less than this share per kelvin anywhere above -10 degC (IF97: 8.2 % there).
STEEPEST_PER_K = 0.083

BLIND = "dew limit: no watched surface has a good reading, taken below the coldest air probe"
PRODUCT_HOT = "product limit: core at its highest temperature, heat held back"
AIR_AHEAD = "product limit: air too far above the product, heat held back"
RATE = "product limit: ramp rate"


@dataclass(frozen=True, slots=True, kw_only=True)
class ConstraintsConfig:
    """[constraints]: limits that hold whatever the recipe says.

    fog_gap_K: fog stops this far below the dew limit, so that fog and vent never meet.
    blind_margin_K: dew limit below the coldest air probe when no watched surface has a good reading.
    ramp_K_per_h_max, air_over_product_K_max: what the product is spared.
    product_degC_max: heat fades out over the last kelvin below this core temperature.
    heat_kW_max: share of the boiler this chamber may take (the heater's own size stands in [heat]).
    """

    fog_gap_K: Annotated[float, Ge(0), Le(1)] = 0.1
    blind_margin_K: Annotated[float, Ge(0.3), Le(10)] = 1.5
    ramp_K_per_h_max: Annotated[float, Gt(0), Le(20)] = 5.0
    air_over_product_K_max: Annotated[float, Gt(1), Le(40)] = 12.0
    product_degC_max: Annotated[float, Ge(25), Le(80)] = 50.0
    heat_kW_max: Annotated[float, Gt(0), Le(2000)] = 1000.0


@dataclass(frozen=True, slots=True)
class ConstraintPlan:
    """Constraints bound to a chamber: the most heat there can be is known."""

    config: ConstraintsConfig
    heat_kW_max: float


@dataclass(frozen=True, slots=True)
class Limits:
    """What this scan may do.

    dew_lo_degC: fog below this dew point; dew_hi_degC: vent above it. fog_below, vent_above: the same two as humidity
    ratios, kg/kg. NaN where the climate is not known.
    heat_kW_max: heat the product allows.  rate_K_per_h: ramp rate the product allows.
    ramp: whether the product allows the setpoint to move on.
    why: what limits, in words; empty when nothing does.
    """

    dew_lo_degC: float
    dew_hi_degC: float
    fog_below: float
    vent_above: float
    heat_kW_max: float
    rate_K_per_h: float
    ramp: bool
    why: tuple[str, ...]


_limits = maker(Limits)


def bind(config: ConstraintsConfig, heat_capacity_kW: float) -> ConstraintPlan:
    """heat_capacity_kW: what the heater gives at most (HeatConfig.capacity_kW)."""
    return ConstraintPlan(config, min(config.heat_kW_max, heat_capacity_kW))


def narrow(plan: ConstraintPlan, targets: Targets, climate: Climate, product: Product) -> Limits:
    """The dew constraint and the product constraint of one scan."""
    config = plan.config
    why: tuple[str, ...] = ()
    if climate.surface_ok:
        dew_hi = climate.dew_limit_degC
    else:
        dew_hi = climate.coldest_degC - config.blind_margin_K
        why = (BLIND,)
    vapour_hi_Pa = saturation_pressure_Pa(dew_hi)
    # rh_pct is formed at the mean temperature, so this is the vapour pressure of the asked humidity there.
    vapour_lo_Pa = (
        targets.rh_fog_below_pct / climate.rh_pct * vapour_pressure_of_ratio_Pa(climate.humidity_ratio)
        if climate.rh_pct > 0.0
        else climate.rh_pct
    )
    gap_K = config.fog_gap_K
    capped = False
    if not vapour_lo_Pa < vapour_hi_Pa * (1.0 - STEEPEST_PER_K * gap_K):
        vapour_gap_Pa = saturation_pressure_Pa(dew_hi - gap_K)
        if vapour_lo_Pa > vapour_gap_Pa:
            vapour_lo_Pa, capped = vapour_gap_Pa, True
    if capped and targets.fog and climate.surface_ok:
        why = ("dew limit: " + climate.surface,)
    heat_kW, rate, ramp = plan.heat_kW_max, targets.rate_K_per_h, True
    if rate > config.ramp_K_per_h_max:
        rate = config.ramp_K_per_h_max
        why = (*why, RATE)
    if product.ok:
        room_K = config.product_degC_max - product.core_degC_max
        if room_K < 1.0:
            heat_kW *= room_K if room_K > 0.0 else 0.0
            why = (*why, PRODUCT_HOT)
        room_K = config.air_over_product_K_max - (climate.temperature_degC - product.surface_degC)
        if room_K < 1.0:
            ramp = False
            heat_kW *= room_K if room_K > 0.0 else 0.0
            why = (*why, AIR_AHEAD)
    return _limits(
        dew_hi - gap_K if capped else saturation_temperature_degC(vapour_lo_Pa),
        dew_hi,
        humidity_ratio(vapour_lo_Pa),
        humidity_ratio(vapour_hi_Pa),
        heat_kW,
        rate,
        ramp,
        why,
    )


def ramp_permitted(climate: Climate, ramp_rh_floor_pct: float) -> bool:
    """Whether the coldest watched surface still allows this humidity at the present air temperature.

    psat(surface - margin) >= floor * psat(mean air). False when either is not known: the clock waits.
    """
    if not (climate.surface_ok and climate.temperature_ok):
        return False
    allowed_Pa = saturation_pressure_Pa(climate.dew_limit_degC)
    return allowed_Pa >= 0.01 * ramp_rh_floor_pct * saturation_pressure_Pa(climate.temperature_degC)
