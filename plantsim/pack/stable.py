"""Whether parameters suit the explicit steps of the kernel: what a step moves must be there to be moved.

Bounds of single values cannot say that: much air through small cells, or a thin skin under a strong draught, would
swing and blow up. Each limit is on a share of what a place holds that moves in one step; below 1 nothing overshoots.
"""

from __future__ import annotations

from collections.abc import Iterator

from plantsim.kernel import layout as at
from plantsim.kernel.layout import Tables
from plantsim.kernel.surfaces import LEWIS_J_PER_KG_K
from plantsim.pack.common import MisfitError
from plantsim.pack.mixes import concretes
from plantsim.params import Coil, Electric, PlantParams, Steam

AIR_J_PER_KG_K = 1006.0
# Heat that a wet surface takes from the air over that of a dry one: 1 + r dWs/dT / (h_c/h_m) at 47 degC; computed.
WET = 12.0
SWINGS = 2.0  # a surface that goes further than twice the way swings without end
MOST = 0.9
HEAT_K = 200.0  # for a moment, when a fan starts; saturation is known to 373 degC
FAN_K = 5.0  # 5 kPa of pressure; assumed
FRAME_M2 = 0.01
FRAME_K = 60.0  # trace heating that would hurt whoever touches it
Limit = tuple[str, float, float, str]  # what, value, most, remedy


def require_stable(c: Tables, p: PlantParams, dt_s: float) -> None:
    """MisfitError for the first thing that does not fit; c: the packed constants."""
    for what, value, most, remedy in (*_surfaces(c, p, dt_s), *_air(c, p, dt_s), *_equipment(p)):
        if not value <= most:
            raise MisfitError(what, f"{value:.3g}", f"at most {most:g} at steps of {dt_s:g} s", remedy)


def film_coefficient(p: PlantParams) -> float:
    """Highest heat transfer coefficient at a surface, W/m2K."""
    flow = max(p.fan.full_kg_per_s, p.vent.max_kg_per_s)
    return p.air.film_W_per_m2_K + p.air.film_W_per_m2_K_per_m_per_s * p.air.speed_m_per_s_per_kg_per_s * flow


def _air(c: Tables, p: PlantParams, dt: float) -> Iterator[Limit]:
    """What leaves the air of a cell in a step, over what is there."""
    kg, bays = float(c.k[at.K_AIR_KG]), p.room.bays
    flow = max(p.fan.full_kg_per_s, p.vent.max_kg_per_s)
    # Much air goes round in several turns a step, none of which takes more than half of a cell's.
    carried = min(flow * float(c.k[at.K_PASS_MAX]) * dt / kg, 0.5) + float(c.cell[at.C_LEAK].max()) * dt / kg
    area = c.cell[at.C_PRODUCT_M2] + c.cell[at.C_BOARD_M2] + c.wall[at.L_M2, : -bays or None]
    area[:: p.room.levels] += c.k[at.K_FLOOR_AREA]
    area[p.room.levels // 2 :: p.room.levels] += p.frames.area_m2
    given = film_coefficient(p) * float(area.max()) * dt / (kg * min(AIR_J_PER_KG_K, LEWIS_J_PER_KG_K))
    yield (
        "share of a cell's air that the fan carries on and the surfaces settle in one step", carried + given, MOST,
        "lower fan.full_kg_per_s, air.film_W_per_m2_K or the areas, or give room.dry_air_kg more",
    )  # fmt: skip


def _surfaces(c: Tables, p: PlantParams, dt: float) -> Iterator[Limit]:
    """How far a surface goes to the air's state in a step."""
    h = film_coefficient(p)
    for mix, concrete in concretes(p).items():
        water = concrete.water_kg_per_kg * 4186.0 / concrete.heat_J_per_kg_K
        what = f"water_kg_per_kg of {'mix ' + mix if mix else 'product'}: its heat over that of the whole skin"
        yield what, water, MOST, "it is a part of heat_J_per_kg_K"
    for name, remedy, area, joule, out in (
        ("boards", "give racks more mass", c.cell[at.C_BOARD_M2], c.cell[at.C_BOARD_J], 0.0),
        ("walls", "raise skin_J_per_m2_K", c.wall[at.L_M2], c.wall[at.L_J], c.wall[at.L_OUT_W_K]),
        ("product", "raise product.skin_share", c.cell[at.C_PRODUCT_M2], c.cell[at.C_SKIN_J], 0.0),
    ):
        there = area > 0.0
        share = float(((WET * h * area + out)[there] * dt / joule[there]).max(initial=0.0))
        yield f"share of the way that {name} go to the air's state in one step", share, SWINGS, remedy
    on = 2.0 * float(c.k[at.K_FLOOR_W_K]) + max(h * float(c.k[at.K_FLOOR_AREA]), float(c.k[at.K_GROUND_W_K]))
    share = on * dt / float(c.k[at.K_FLOOR_J])
    yield "share of the way that a floor layer goes in one step", share, MOST, "raise floor.layer_m"


def _equipment(p: PlantParams) -> Iterator[Limit]:
    """Equipment that contradicts itself."""
    fan_kW = p.fan.rated_kW * (p.fan.full_kg_per_s / p.fan.rated_kg_per_s) ** 3
    fan_K = fan_kW / p.fan.full_kg_per_s / (AIR_J_PER_KG_K * 1e-3)
    yield "kelvin by which the fan warms its air at full speed", fan_K, FAN_K, "lower fan.rated_kW"
    heat_K = _most_kW(p) / p.air.plume_below_kg_per_s / (AIR_J_PER_KG_K * 1e-3)
    yield (
        "kelvin by which the heater warms the least air that is carried", heat_K, HEAT_K,
        "lower its kW or raise air.plume_below_kg_per_s",
    )  # fmt: skip
    # A frame of no size is how a chamber without frames is given.
    frame_K = p.frames.heating_W / p.frames.area_m2 / p.air.film_W_per_m2_K if p.frames.area_m2 >= FRAME_M2 else 0.0
    yield "kelvin by which its heating warms a frame", frame_K, FRAME_K, "lower frames.heating_W"
    if isinstance(p.heat, Coil):
        yield "heat.air_degC", p.heat.air_degC, p.heat.water_degC - 1.0, "the water must be warmer than the air"
    landed = p.fog.land_product + p.fog.land_boards
    yield "fog.land_product + fog.land_boards", landed, 1.0, "the rest lands on the envelope"


def _most_kW(p: PlantParams) -> float:
    """What the heater gives at most as heat; steam brings water, and with it no more than boiling heat."""
    if isinstance(p.heat, Steam):
        return 0.0
    return sum(p.heat.stage_kW) if isinstance(p.heat, Electric) else p.heat.max_kW
