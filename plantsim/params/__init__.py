"""Parameters of the chamber model: one class a subject, units in the names, bounds beside them.

The defaults are the demo chamber; configs/plants/*.toml gives every value again with its source. The classes check
nothing by themselves: files are validated where they are read.
"""

from __future__ import annotations

from plantsim.params.air import Air, Fan, Makeup, Vent
from plantsim.params.fog import Fog, Humidifier, PumpedFog, SteamFog
from plantsim.params.heat import Coil, Electric, Gas, Heat, Limiter, Steam
from plantsim.params.plant import Actuators, Condition, PlantParams
from plantsim.params.probe import Capacitive, Card, Kind, Place, Probe, Pt100, Sees, Transmitter, Warmed, Wick
from plantsim.params.product import MixParams, Product, Racks
from plantsim.params.room import Envelope, Floor, Frames, Hall, Room, Start

__all__ = [
    "Actuators",
    "Air",
    "Capacitive",
    "Card",
    "Coil",
    "Condition",
    "Electric",
    "Envelope",
    "Fan",
    "Floor",
    "Fog",
    "Frames",
    "Gas",
    "Hall",
    "Heat",
    "Humidifier",
    "Kind",
    "Limiter",
    "Makeup",
    "MixParams",
    "Place",
    "PlantParams",
    "Probe",
    "Product",
    "Pt100",
    "PumpedFog",
    "Racks",
    "Room",
    "Sees",
    "Start",
    "Steam",
    "SteamFog",
    "Transmitter",
    "Vent",
    "Warmed",
    "Wick",
]
