"""The sources of heat as data, one class a kind: hot water, electric elements, gas, live steam.

Each tells the rest of the controller the same few things: what it can give (capacity_kW), what it gives at least
(kW_min), its analog output (drive, "" for none) and how long that takes from end to end (stroke_s), its further
contacts to drive (stages), and the water that comes with a kilowatt of heat (kg_per_kWh).
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le, Len, Lt

# Steam at 100 degC, above water at 0 degC: 2675.6 kJ/kg. Source: IAPWS R7-97(2012).
STEAM_KJ_PER_KG = 2675.6


class Heater(ABC):
    """What a heater is unless it says otherwise: no further contacts, no water with its heat, the same in any air."""

    __slots__ = ()

    @property
    @abstractmethod
    def capacity_kW(self) -> float:
        """What it can give; each kind says it, as a figure of its file or worked out."""

    @property
    def stages(self) -> tuple[StageConfig, ...]:
        """None."""
        return ()

    @property
    def kg_per_kWh(self) -> float:
        """What warms does not meet the air."""
        return 0.0

    def capacity_at_kW(self, air_degC: float) -> float:  # noqa: ARG002
        """The same in any air."""
        return self.capacity_kW


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatConfig(Heater):
    """[heat] kind = "water": a valve with an equal-percentage characteristic, and the enable of its pump.

    capacity_kW: heat at a fully open valve, with water at water_nominal_degC and air at air_nominal_degC.
    rangeability, authority: of the valve (kv_max/kv_min; pressure drop of the open valve over that of the circuit).
    ready: contacts that must be on before heat can be given (air flow proven, enabled at panel, in automatic).
    water: tag of the water temperature; "" = capacity is taken as it stands.
    move_pct_min: changes of less than this share of the full flow are saved up; noise would wear the valve.
    hold_s: shortest time on and off of the pump.
    kW_min: below it the pump stays off (the valve cannot throttle so far down); off again below half of it.
    """

    kind: Literal["water"] = "water"
    valve: str = "TCV-103"
    enable: str = "YC-103"
    ready: tuple[str, ...] = ("FS-101", "YS-103", "HS-113")
    water: str = "TT-103"
    capacity_kW: Annotated[float, Gt(0), Le(2000)] = 60.0
    water_nominal_degC: Annotated[float, Ge(30), Le(120)] = 70.0
    air_nominal_degC: Annotated[float, Ge(0), Le(60)] = 30.0
    rangeability: Annotated[float, Gt(1), Le(200)] = 50.0
    authority: Annotated[float, Gt(0), Le(1)] = 0.5
    stroke_s: Annotated[float, Gt(0), Le(600)] = 90.0
    move_pct_min: Annotated[float, Ge(0), Le(5)] = 1.0
    hold_s: Annotated[float, Ge(0), Le(1800)] = 180.0
    kW_min: Annotated[float, Ge(0), Le(50)] = 2.0

    @property
    def drive(self) -> str:
        """The valve."""
        return self.valve

    def capacity_at_kW(self, air_degC: float) -> float:
        """Heat of the open valve into air of this temperature, with the water as it should be."""
        share = (self.water_nominal_degC - air_degC) / (self.water_nominal_degC - self.air_nominal_degC)
        return self.capacity_kW * max(share, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class StageConfig:
    """One [[heat.stage]] of electric elements. The first is pulsed (a semiconductor relay can do so every few
    seconds), the others are added and dropped whole; none of those may be larger than the first.

    cycle_s: of the pulses. on_s_min, off_s_min: shortest times, which save contactors.
    """

    tag: str
    kW: Annotated[float, Gt(0), Le(500)]
    cycle_s: Annotated[float, Ge(2), Le(900)] = 60.0
    on_s_min: Annotated[float, Ge(0), Le(900)] = 2.0
    off_s_min: Annotated[float, Ge(0), Le(900)] = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ElectricConfig(Heater):
    """[heat] kind = "electric": stages of elements behind a main contactor (enable).

    hold_s, kW_min: of the main contactor, as of the pump of hot water.
    """

    kind: Literal["electric"]
    stage: Annotated[tuple[StageConfig, ...], Len(1, 4)]
    enable: str = "YC-103"
    ready: tuple[str, ...] = ("FS-101", "YS-103", "HS-113")
    hold_s: Annotated[float, Ge(0), Le(1800)] = 180.0
    kW_min: Annotated[float, Ge(0), Le(50)] = 0.5

    @property
    def capacity_kW(self) -> float:
        """All stages together."""
        return sum(stage.kW for stage in self.stage)

    @property
    def drive(self) -> str:
        """No analog output."""
        return ""

    @property
    def stroke_s(self) -> float:
        """Contacts need no time."""
        return 1.0

    @property
    def stages(self) -> tuple[StageConfig, ...]:
        """The stages."""
        return self.stage


@dataclass(frozen=True, slots=True, kw_only=True)
class GasConfig(Heater):
    """[heat] kind = "gas": a burner (enable) and its fire in percent (fire).

    capacity_kW: heat to the air at full fire. fire_pct_min: below it the burner is pulsed at this fire, in cycles of
    cycle_s with shortest times on (purge included) and off. stroke_s: of the fire, from nothing to full.
    """

    kind: Literal["gas"]
    fire: str
    enable: str = "YC-103"
    ready: tuple[str, ...] = ("FS-101", "YS-103", "HS-113")
    capacity_kW: Annotated[float, Gt(0), Le(2000)] = 60.0
    fire_pct_min: Annotated[float, Gt(0), Lt(100)] = 30.0
    purge_s: Annotated[float, Ge(0), Le(300)] = 30.0
    cycle_s: Annotated[float, Ge(60), Le(3600)] = 900.0
    on_s_min: Annotated[float, Ge(0), Le(1800)] = 180.0
    off_s_min: Annotated[float, Ge(0), Le(1800)] = 180.0
    stroke_s: Annotated[float, Gt(0), Le(600)] = 60.0
    move_pct_min: Annotated[float, Ge(0), Le(5)] = 1.0

    @property
    def drive(self) -> str:
        """The fire."""
        return self.fire

    @property
    def kW_min(self) -> float:
        """Pulses give any mean, however small."""
        return 0.0

    @property
    def hold_s(self) -> float:
        """The pulses have their own times."""
        return 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SteamConfig(Heater):
    """[heat] kind = "steam": live steam blown into the air, by a valve and its shut-off (enable). It brings water.

    capacity_kg_per_h: at a fully open valve. fade_g_per_kg: over the last so much below the dew limit heat fades out,
    for what the air cannot hold condenses. The rest as with hot water.
    """

    kind: Literal["steam"]
    valve: str = "TCV-103"
    enable: str = "YC-103"
    ready: tuple[str, ...] = ("FS-101", "YS-103", "HS-113")
    capacity_kg_per_h: Annotated[float, Gt(0), Le(3000)] = 80.0
    fade_g_per_kg: Annotated[float, Gt(0), Le(10)] = 0.5
    rangeability: Annotated[float, Gt(1), Le(200)] = 50.0
    authority: Annotated[float, Gt(0), Le(1)] = 0.9
    stroke_s: Annotated[float, Gt(0), Le(600)] = 30.0
    move_pct_min: Annotated[float, Ge(0), Le(5)] = 1.0
    hold_s: Annotated[float, Ge(0), Le(1800)] = 180.0
    kW_min: Annotated[float, Ge(0), Le(50)] = 2.0

    @property
    def drive(self) -> str:
        """The valve."""
        return self.valve

    @property
    def capacity_kW(self) -> float:
        """The steam of the open valve with all it carries."""
        return self.capacity_kg_per_h * STEAM_KJ_PER_KG / 3600.0

    @property
    def kg_per_kWh(self) -> float:
        """The steam itself: 1 kg/h is 0.743 kW."""
        return 3600.0 / STEAM_KJ_PER_KG


AnyHeatConfig = HeatConfig | ElectricConfig | GasConfig | SteamConfig
