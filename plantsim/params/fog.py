"""What moistens the air."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Ge, Le

from plantsim.params.bounds import Celsius, NotNegative, Positive, Share


@dataclass(frozen=True, slots=True, kw_only=True)
class Fog:
    """Two nozzle banks in the plenum. Droplets that have not evaporated before they land wet what is below."""

    bank_a_kg_per_h: NotNegative = 15.0
    bank_b_kg_per_h: NotNegative = 45.0
    water_degC: Celsius = 15.0
    line_delay_s: Annotated[float, Ge(0), Le(60)] = 3.0
    droplet_um: Annotated[float, Ge(1), Le(500)] = 20.0
    fall_m: Positive = 2.0
    settle_droplet_um: Annotated[float, Ge(0.1), Le(100)] = 10.0  # fog that hangs in the cells
    land_levels: Positive = 3.0  # e-folding depth, in levels from the top, over which droplets land
    land_product: Share = 0.5
    land_boards: Share = 0.45
