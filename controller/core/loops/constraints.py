"""Constraints: they narrow what recipe and loops may do so that surfaces stay dry and the product is spared."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated

from annotated_types import Ge, Gt, Le

from controller.core.climate.climate import Climate
from controller.core.climate.moistair import (
    humidity_ratio,
    saturation_pressure_Pa,
    saturation_temperature_degC,
    vapour_pressure_of_ratio_Pa,
)
from controller.core.product.product import Product
from controller.core.quick import maker
from controller.core.setpoints import Targets

# Over -10..100 degC saturation pressure rises by at most this / (t + 243.12)**2 a kelvin, as a share of itself.
# Magnus' formula (17.62 and 243.12 degC; WMO-No. 8, annex 4.B) has 4284 in its place, IF97 up to 4296.
STEEPNESS_K, STEEPNESS_FROM_DEGC = 4300.0, 243.12

# Surfaces are slow and read in steps, so a dew limit comes back scan after scan. Remembering what belongs to it
# changes no result.
_REMEMBERED = 64

BLIND = "dew limit: no watched surface has a good reading, taken below the coldest air probe"
PRODUCT_HOT = "product limit: core at its highest temperature, heat held back"
AIR_AHEAD = "product limit: air too far above the product, heat held back"
RATE = "product limit: ramp rate"
DRYING = "vent: the chamber is dried"


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
_limit_Pa = lru_cache(maxsize=_REMEMBERED)(saturation_pressure_Pa)


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
    if targets.rh_vent_above_pct > 0.0 and climate.moisture_ok:
        dry = saturation_temperature_degC(
            0.01 * targets.rh_vent_above_pct * saturation_pressure_Pa(climate.temperature_degC)
        )
        if dry < dew_hi:
            dew_hi, why = dry, (DRYING,)
    vent_above, gap_degC, gap_Pa, fog_at_gap = _at_limit(dew_hi, config.fog_gap_K)
    # rh_pct is formed at the mean temperature, so this is the vapour pressure of the asked humidity there.
    rh_pct = climate.rh_pct
    if rh_pct > 0.0:
        fog_Pa = targets.rh_fog_below_pct / rh_pct * vapour_pressure_of_ratio_Pa(climate.humidity_ratio)
    else:
        fog_Pa = rh_pct
    if fog_Pa > gap_Pa:
        dew_lo, fog_below = gap_degC, fog_at_gap
        if targets.fog and climate.surface_ok:
            why = ("dew limit: " + climate.surface,)
    else:
        dew_lo, fog_below = saturation_temperature_degC(fog_Pa), humidity_ratio(fog_Pa)
    heat_kW, rate, ramp = plan.heat_kW_max, targets.rate_K_per_h, True
    if rate > config.ramp_K_per_h_max:
        rate = config.ramp_K_per_h_max
        why = (*why, RATE)
    if product.ok and not targets.empty:
        room_K = config.product_degC_max - product.core_degC_max
        if room_K < 1.0:
            heat_kW *= room_K if room_K > 0.0 else 0.0
            why = (*why, PRODUCT_HOT)
        room_K = config.air_over_product_K_max - (climate.temperature_degC - product.surface_degC)
        if room_K < 1.0:
            ramp = False
            heat_kW *= room_K if room_K > 0.0 else 0.0
            why = (*why, AIR_AHEAD)
    return _limits(dew_lo, dew_hi, fog_below, vent_above, heat_kW, rate, ramp, why)


@lru_cache(maxsize=_REMEMBERED)
def _at_limit(dew_hi_degC: float, gap_K: float) -> tuple[float, float, float, float]:
    """Humidity ratio at the dew limit; a gap below it the dew point, vapour pressure and humidity ratio."""
    gap_Pa = saturation_pressure_Pa(dew_hi_degC - gap_K)
    return humidity_ratio(_limit_Pa(dew_hi_degC)), dew_hi_degC - gap_K, gap_Pa, humidity_ratio(gap_Pa)


def ramp_permitted(climate: Climate, ramp_rh_floor_pct: float) -> bool:
    """Whether the coldest watched surface still allows this humidity at the present air temperature.

    psat(surface - margin) >= floor * psat(mean air). False when either is not known: the clock waits.
    """
    if not (climate.surface_ok and climate.temperature_ok):
        return False
    limit, mean, least = climate.dew_limit_degC, climate.temperature_degC, 0.01 * ramp_rh_floor_pct
    root = limit + STEEPNESS_FROM_DEGC
    if -10.0 <= limit <= mean <= 100.0 and (mean - limit) * STEEPNESS_K < (1.0 - least) * root * root:
        return True  # clearly so, even if saturation pressure rose all the way as steeply as at the limit
    return _limit_Pa(limit) >= least * saturation_pressure_Pa(mean)
