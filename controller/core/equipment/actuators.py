"""The actuators of a chamber as data, and what they can do now."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le, Len

from controller.core.equipment.heaters import AnyHeatConfig
from controller.core.equipment.heaters import HeatConfig as HeatConfig


@dataclass(frozen=True, slots=True, kw_only=True)
class FanConfig:
    """[fan]: speed and run outputs, flow at full speed, and how fast the speed may change.

    flow_kg_per_s_at_full, power_kW_at_full: used where flow and power are not measured (flow goes with the speed,
    power with its cube).
    speed_pct_min: slowest speed while it runs; a demand of 0 stops it.
    spread_K_max, raise_pct_per_K: the speed asked for is raised by so much per kelvin of spread above the limit
    (0 = never): the slowest speed that keeps the air even.
    """

    speed: str = "SC-101"
    run: str = "YC-101"
    flow_kg_per_s_at_full: Annotated[float, Gt(0), Le(200)] = 12.0
    power_kW_at_full: Annotated[float, Ge(0), Le(200)] = 9.5
    speed_pct_min: Annotated[float, Ge(0), Le(100)] = 25.0
    slew_pct_per_s: Annotated[float, Gt(0), Le(100)] = 2.0
    spread_K_max: Annotated[float, Gt(0), Le(20)] = 1.5
    raise_pct_per_K: Annotated[float, Ge(0), Le(200)] = 25.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BankConfig:
    """One [[fog.bank]]: a valve that is pulsed. kg_per_h * cycle_s may not pass 3600, a kilogram of water in one
    cycle: larger pulses swing the dew point by themselves. Banks are listed smallest first and used in that order."""

    tag: str
    kg_per_h: Annotated[float, Gt(0), Le(1000)]
    cycle_s: Annotated[float, Ge(10), Le(600)]
    on_s_min: Annotated[float, Ge(0), Le(60)] = 3.0
    off_s_min: Annotated[float, Ge(0), Le(60)] = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FogConfig:
    """[fog]: the banks, and the contacts that must be on for fog to come (water pressure, switch in automatic).

    kind: what comes, droplets that take their heat from the air, or steam that brings it. modulation: output in percent
    of a pump or humidifier, "" = banks are only on or off; their kg_per_h are those at 100 percent. pct_min: slowest
    that gives any water; below it the banks are pulsed there.
    """

    kind: Literal["droplets", "steam"] = "droplets"
    modulation: str = ""
    pct_min: Annotated[float, Gt(0), Le(100)] = 40.0
    ready: tuple[str, ...] = ("PS-102", "HS-112")
    bank: Annotated[tuple[BankConfig, ...], Len(1, 4)] = (
        BankConfig(tag="XV-102A", kg_per_h=15.0, cycle_s=120.0),
        BankConfig(tag="XV-102B", kg_per_h=45.0, cycle_s=60.0),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class VentConfig:
    """[vent]: exhaust damper with make-up air. kg_per_s_max at a fully open damper; characteristic as in [heat]."""

    damper: str = "ZC-120"
    kg_per_s_max: Annotated[float, Gt(0), Le(50)] = 1.0
    rangeability: Annotated[float, Gt(1), Le(200)] = 50.0
    authority: Annotated[float, Gt(0), Le(1)] = 0.5
    stroke_s: Annotated[float, Gt(0), Le(600)] = 60.0
    move_pct_min: Annotated[float, Ge(0), Le(5)] = 1.0
    kg_per_s_min: Annotated[float, Ge(0), Le(1)] = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameHeatingConfig:
    """[frame_heating]: on while the coldest door frame is less than on_margin_K above the dew point."""

    output: str = "YC-106"
    frames: tuple[str, ...] = ("TT-106A", "TT-106B")
    on_margin_K: Annotated[float, Ge(0), Le(10)] = 0.5
    off_margin_K: Annotated[float, Ge(0), Le(20)] = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ActuationConfig:
    """The actuator sections of a chamber file, together. frame_heating: None where a chamber has none."""

    fan: FanConfig = FanConfig()
    heat: AnyHeatConfig = field(default_factory=HeatConfig)
    fog: FogConfig = FogConfig()
    vent: VentConfig = VentConfig()
    frame_heating: FrameHeatingConfig | None = FrameHeatingConfig()


@dataclass(frozen=True, slots=True)
class Achieved:
    """What the actuators can give from here on, and what they give now; the loops do not wind up beyond it.

    *_max: 0 while a contact is missing, a switch is in hand or protection has just taken the output away.
    fog_kg_per_h, heat_kW: mean of the pulses, and heat at the present valve position.
    """

    heat_kW_max: float
    fog_kg_per_h_max: float
    vent_kg_per_s_max: float
    fog_kg_per_h: float
    heat_kW: float
