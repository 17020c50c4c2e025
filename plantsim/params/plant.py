"""A whole chamber model, with the wiring of its panel."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from plantsim.params.air import Air, Fan, Vent
from plantsim.params.fog import Fog, Humidifier
from plantsim.params.heat import Coil, Heat, Limiter
from plantsim.params.probe import Probe
from plantsim.params.product import MixParams, Product, Racks
from plantsim.params.room import Envelope, Floor, Frames, Hall, Room, Start

Condition = Literal[
    "airflow", "fan_runs", "heat_enabled", "door_1_closed", "door_2_closed", "door_3_closed", "door_4_closed",
    "door_5_closed", "door_6_closed", "door_7_closed", "door_8_closed", "door_9_closed", "door_10_closed",
    "door_11_closed", "door_12_closed", "door_13_closed", "door_14_closed", "door_15_closed", "door_16_closed",
    "estop_healthy", "limiter_healthy", "person_healthy", "fog_pressure", "fan_auto", "heat_auto", "fog_auto", "mains",
    "fan_isolator", "heat_isolator", "fog_isolator", "burner_healthy",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Actuators:
    """Tag of the point that drives each output, in the order of plantsim.chamber.OUTPUTS."""

    fan_run: str = ""
    fan_pct: str = ""
    heat_run: str = ""
    valve_pct: str = ""
    vent_pct: str = ""
    fog_a: str = ""
    fog_b: str = ""
    frame_heat: str = ""
    stage_1: str = ""
    stage_2: str = ""
    stage_3: str = ""
    stage_4: str = ""
    fog_pct: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantParams:
    """A whole chamber model. probe: in the order of Chamber.microamps; contacts: tag -> condition.

    mix: concretes beside that of the product section, for batches that name one.
    """

    name: str = "demo-north"
    room: Room = Room()
    envelope: Envelope = Envelope()
    frames: Frames = Frames()
    floor: Floor = Floor()
    racks: Racks = Racks()
    product: Product = Product()
    mix: tuple[MixParams, ...] = ()
    air: Air = Air()
    fan: Fan = Fan()
    heat: Heat = Coil()
    vent: Vent = Vent()
    fog: Humidifier = Fog()
    limiter: Limiter = Limiter()
    hall: Hall = Hall()
    start: Start = Start()
    probe: tuple[Probe, ...] = ()
    contacts: dict[str, Condition] = field(default_factory=dict)
    actuators: Actuators = Actuators()
