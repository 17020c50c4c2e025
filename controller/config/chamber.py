"""The chamber file (configs/chambers/*.toml): one chamber, its places, its points and how it is controlled."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated

from annotated_types import Ge, Le, Len

from controller.core.actuation.actuation import (
    ActuationConfig,
    AnyHeatConfig,
    FanConfig,
    FogConfig,
    FrameHeatingConfig,
    VentConfig,
)
from controller.core.alarms.alarms import AlarmsConfig
from controller.core.climate.climate import ClimateConfig
from controller.core.climate.siblings import SiblingsConfig
from controller.core.hand.register import ByHandConfig
from controller.core.invariants.invariants import InvariantsConfig
from controller.core.loops.allocation import MoistureConfig, TemperatureConfig
from controller.core.loops.constraints import ConstraintsConfig
from controller.core.outlook.reduced import ForecastConfig
from controller.core.product.product import ProductConfig
from controller.core.protection.protection import ProtectionConfig
from controller.core.sequence.recipe import ChamberLimits
from controller.core.sequence.sequence import SequenceConfig
from controller.core.signals.frozen import FrozenConfig
from controller.core.signals.signals import SignalsConfig
from controller.core.upkeep.duty import DutyItem
from controller.core.upkeep.wear import WearConfig

LOAD_OVER = 1.25  # of nominal_t: overfull racks; what is more was typed wrong


@dataclass(frozen=True, slots=True, kw_only=True)
class ChamberFile:
    """One chamber. The sections are the config classes of the core modules that use them.

    points, device: names of the point list and of the device, files or bare names beside this one.
    devices: in place of device, the names of several; their words stand in this order.
    bays, levels: places of the chamber; level 1 is the lowest.
    """

    name: Annotated[str, Len(1, 40)]
    text: str = ""
    points: Annotated[str, Len(1, 255)]
    device: Annotated[str, Len(0, 255)] = ""
    devices: Annotated[tuple[Annotated[str, Len(1, 255)], ...], Len(0, 16)] = ()
    bays: Annotated[int, Ge(1), Le(40)]
    levels: Annotated[int, Ge(1), Le(40)]
    limits: ChamberLimits
    signals: SignalsConfig = field(default_factory=SignalsConfig)
    frozen: FrozenConfig = field(default_factory=FrozenConfig)
    siblings: SiblingsConfig = field(default_factory=SiblingsConfig)
    climate: ClimateConfig
    product: ProductConfig
    temperature: TemperatureConfig = field(default_factory=TemperatureConfig)
    moisture: MoistureConfig = field(default_factory=MoistureConfig)
    constraints: ConstraintsConfig = field(default_factory=ConstraintsConfig)
    fan: FanConfig
    heat: AnyHeatConfig
    fog: FogConfig
    vent: VentConfig
    frame_heating: FrameHeatingConfig | None = None
    sequence: SequenceConfig = field(default_factory=SequenceConfig)
    protection: ProtectionConfig
    alarms: AlarmsConfig
    by_hand: ByHandConfig = field(default_factory=ByHandConfig)
    wear: WearConfig = field(default_factory=WearConfig)
    duty: Annotated[tuple[DutyItem, ...], Len(0, 64)] = ()
    invariants: InvariantsConfig = field(default_factory=InvariantsConfig)
    forecast: ForecastConfig = field(default_factory=ForecastConfig)

    @property
    def load_t_max(self) -> float:
        """The most product that a cycle may begin with, t: a quarter more than the loops are set for; our choice."""
        return LOAD_OVER * self.temperature.nominal_t

    @property
    def device_names(self) -> tuple[str, ...]:
        """The devices of this chamber, one or several."""
        return self.devices or (self.device,)

    @property
    def actuation(self) -> ActuationConfig:
        """The actuator sections together, as the core wants them."""
        return ActuationConfig(
            fan=self.fan, heat=self.heat, fog=self.fog, vent=self.vent, frame_heating=self.frame_heating
        )
