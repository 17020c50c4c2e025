"""What can be had now: air flow and fan heat, heat under its limits, evaporation, help from outdoor air."""

from __future__ import annotations

from controller.core.climate.climate import Climate
from controller.core.equipment.actuators import Achieved, FanConfig, FogConfig
from controller.core.loops.constraints import Limits
from controller.core.setpoints import Targets

FOG_kW_PER_KG_H = 0.674  # latent heat of water at 32 degC, 2426 kJ/kg, over 3600 s/h
STEAM_FOG_kW_PER_KG_H = -0.033  # vapour at 32 degC less steam at 100 degC, 2558 - 2676 kJ/kg
MOIST_AIR_KJ_PER_KGK = 1.06  # 1.006 + 1.86 W at 30 g/kg
# Below these, outdoor air does not dry or cool, whatever the vent.
DRIER_G_PER_KG_MIN = 0.3
COOLER_KJ_PER_KG_MIN = 2.0
# Taken for outdoor air that is not measured: drier and cooler by so much.
DRIER_G_PER_KG_ASSUMED = 10.0
COOLER_KJ_PER_KG_ASSUMED = 40.0

SUPPLY = "heat limited: supply air over return"
HEATER = "heat limited: what the heater can give"
STEAM = "heat limited: steam would wet what is cold"


def circulation(fan: FanConfig, pct: float, climate: Climate) -> tuple[float, float, float]:
    """Speed (%), raised where the air is uneven; air flow (kg/s) and power (kW), measured or else from the speed."""
    if pct > 0.0 and climate.spread_K > fan.spread_K_max:
        pct = min(100.0, pct + fan.raise_pct_per_K * (climate.spread_K - fan.spread_K_max))
    share = 0.01 * pct
    flow, power = climate.airflow_kg_per_s, climate.fan_kW
    if not flow >= 0.0:
        flow = share * fan.flow_kg_per_s_at_full
    if not power >= 0.0:
        power = share * share * share * fan.power_kW_at_full
    return pct, flow, power


def fog_heat_kW_per_kg_h(fog: FogConfig) -> float:
    """Heat that takes up a kilogram an hour of this fog: droplets cost their evaporation, steam brings a little."""
    return STEAM_FOG_kW_PER_KG_H if fog.kind == "steam" else FOG_kW_PER_KG_H


def heat_cap(
    targets: Targets, limits: Limits, climate: Climate, achieved: Achieved, flow: float, fan_kW: float,
    fade_g_per_kg: float,
) -> tuple[float, str]:
    """The most heat that may be given now, and the reason when it is less than the heater has.

    fade_g_per_kg: of steam, which hardly warms the supply air but wets; 0 for dry heat.
    """
    if not (targets.heat and climate.temperature_ok):
        return 0.0, ""
    most, why = achieved.heat_kW_max, HEATER
    if limits.heat_kW_max < most:
        most, why = limits.heat_kW_max, ""  # the constraint has said why
    if fade_g_per_kg > 0.0:
        room = 1000.0 * (limits.vent_above - climate.humidity_ratio) / fade_g_per_kg if climate.moisture_ok else 0.0
        wet = achieved.heat_kW_max * room
        return (max(wet, 0.0), STEAM) if wet < most else (most, why)
    supply = targets.supply_over_return_K_max * flow * MOIST_AIR_KJ_PER_KGK - fan_kW
    if supply < most:
        most, why = max(supply, 0.0), SUPPLY
    return most, why


def fog_cap(
    steam: bool, w_g_per_kg: float, rh_pct: float, flow_kg_per_s: float, heat_kW: float, kg_per_h_max: float
) -> float:
    """The most fog that may be given: what the air takes up, of steam without any heat; not more than there is."""
    if steam:
        missing = w_g_per_kg * (100.0 - rh_pct) / rh_pct if 0.0 < rh_pct < 100.0 else 0.0
        most = 3.6 * flow_kg_per_s * missing
    else:
        most = evaporation_kg_per_h(w_g_per_kg, rh_pct, flow_kg_per_s, heat_kW)
    return most if most < kg_per_h_max else kg_per_h_max


def evaporation_kg_per_h(w_g_per_kg: float, rh_pct: float, flow_kg_per_s: float, heat_kW: float) -> float:
    """Fog that evaporates in one pass of the air: what brings it to saturation by its own heat, and what heat adds.

    Saturating air at W adiabatically takes up (Ws - W) / (1 + (r/cp) dWs/dT), and along the saturation line near
    30 degC (r/cp) dWs/dT is 0.133 Ws with Ws in g/kg. 9 kg/s at 32 degC take up 20 kg/h at 90 %RH, 6 at 97.
    """
    missing = w_g_per_kg * (100.0 - rh_pct) / rh_pct if 0.0 < rh_pct < 100.0 else 0.0
    passing = 3.6 * flow_kg_per_s * missing / (1.0 + 0.133 * (w_g_per_kg + missing))
    return passing + heat_kW / FOG_kW_PER_KG_H


def outdoors(climate: Climate, w_g_per_kg: float) -> tuple[float, float]:
    """How much drier (g/kg) and poorer in heat (kJ/kg) the make-up air is than the chamber's; 0 when it is not.

    Enthalpy, not temperature, decides whether venting cools: what warm dry air takes up in water it gives back as
    cooling. What is not measured is taken as useful.
    """
    drier = w_g_per_kg - 1000.0 * climate.outdoor_humidity_ratio
    if drier != drier:
        drier = DRIER_G_PER_KG_ASSUMED
    cooler = 1.01 * (climate.temperature_degC - climate.outdoor_degC) + 2.55 * drier
    if cooler != cooler:
        cooler = COOLER_KJ_PER_KG_ASSUMED
    return (
        drier if drier > DRIER_G_PER_KG_MIN else 0.0,
        cooler if cooler > COOLER_KJ_PER_KG_MIN else 0.0,
    )
