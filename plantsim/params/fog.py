"""What moistens the air, in three kinds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le

from plantsim.params.bounds import Share


@dataclass(frozen=True, slots=True, kw_only=True)
class Falling:
    """Droplets that land wet what is below: where, and how fast fog that hangs in the cells settles."""

    settle_droplet_um: Annotated[float, Ge(0.1), Le(100)] = 10.0  # fog that hangs in the cells
    land_levels: Annotated[float, Ge(0.1), Le(100)] = 3.0  # e-folding depth of landing, in levels from the top
    land_product: Share = 0.5
    land_boards: Share = 0.45


@dataclass(frozen=True, slots=True, kw_only=True)
class Spray(Falling):
    """Two nozzle banks in the plenum. Droplets that have not evaporated before they land wet what is below."""

    bank_a_kg_per_h: Annotated[float, Ge(0), Le(1000)] = 15.0
    bank_b_kg_per_h: Annotated[float, Ge(0), Le(1000)] = 45.0
    water_degC: Annotated[float, Ge(1), Le(60)] = 15.0
    line_delay_s: Annotated[float, Ge(0), Le(60)] = 3.0
    droplet_um: Annotated[float, Ge(1), Le(500)] = 20.0
    fall_m: Annotated[float, Ge(0.05), Le(20)] = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Fog(Spray):
    """Banks that are on or off, at one pressure."""

    kind: Literal["nozzles"] = "nozzles"


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpedFog(Spray):
    """Banks fed by a pump of variable speed. The flow goes with the root of the pressure, and with the speed.

    bank_*_kg_per_h, droplet_um: at full speed and rated_bar. The check valves of the nozzles open at open_bar: below
    it nothing comes. Droplets grow as pressure**-droplet_exponent.
    """

    kind: Literal["pump"] = "pump"
    rated_bar: Annotated[float, Ge(1), Le(300)] = 70.0
    open_bar: Annotated[float, Ge(0), Le(300)] = 10.0
    droplet_exponent: Annotated[float, Ge(0), Le(1)] = 0.4
    pump_lag_s: Annotated[float, Ge(0.1), Le(60)] = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SteamFog(Falling):
    """A steam humidifier: water comes as vapour and brings its own heat. Its output is modulated."""

    kind: Literal["steam"] = "steam"
    max_kg_per_h: Annotated[float, Ge(0.1), Le(5000)] = 60.0
    J_per_kg: Annotated[float, Ge(2e6), Le(3e6)] = 2675.5e3
    supply_degC: Annotated[float, Ge(1), Le(95)] = 15.0  # of the water it boils
    efficiency: Annotated[float, Gt(0), Le(1)] = 0.95
    lag_s: Annotated[float, Ge(0.1), Le(3600)] = 60.0


Humidifier = Fog | PumpedFog | SteamFog
