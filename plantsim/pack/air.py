"""Room, air, fan, vent, limiter chain and doors: the scalars of their constants."""

from __future__ import annotations

from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats
from plantsim.pack.common import FAILS, gain
from plantsim.pack.places import count
from plantsim.pack.room import frame_W
from plantsim.params import PlantParams


def pack_air(k: Floats, p: PlantParams, dt: float) -> None:
    """Constants of room, air, fan, vent, doors and frames into k."""
    room, air = p.room, p.air
    depth = room.depth_cells
    n = count(room)
    k[at.K_PRESSURE], k[at.K_AIR_KG], k[at.K_HEIGHT] = room.pressure_Pa, room.dry_air_kg / n, room.height_m
    # What a bay exchanges is shared by the columns of its depth.
    k[at.K_DEPTH] = depth
    k[at.K_STILL], k[at.K_JET] = air.still_exchange_kg_per_s / depth, air.jet_exchange
    k[at.K_SIDE], k[at.K_SIDE_JET] = air.side_exchange_kg_per_s / depth, air.side_jet_exchange
    k[at.K_DEPTH_STILL], k[at.K_DEPTH_JET] = air.depth_exchange_kg_per_s, air.depth_jet_exchange
    k[at.K_OPENING], k[at.K_SPEED] = air.opening_m, air.speed_m_per_s_per_kg_per_s
    k[at.K_SPEED0] = air.speed_still_m_per_s
    k[at.K_FILM], k[at.K_FILM_V] = air.film_W_per_m2_K, air.film_W_per_m2_K_per_m_per_s
    k[at.K_PLUMES], k[at.K_PLUME_BELOW] = air.plumes, air.plume_below_kg_per_s
    k[at.K_FAN_FULL], k[at.K_FAN_RATED] = p.fan.full_kg_per_s, p.fan.rated_kg_per_s
    k[at.K_FAN_RATED_W], k[at.K_FAN_PROVEN] = p.fan.rated_kW * 1e3, p.fan.proven_kg_per_s
    k[at.K_FAN_GAIN] = gain(p.fan.lag_s, dt)
    k[at.K_VENT], k[at.K_VENT_STEP] = p.vent.max_kg_per_s, 100.0 / p.vent.stroke_s * dt
    k[at.K_VENT_R], k[at.K_VENT_N] = p.vent.rangeability, p.vent.authority
    k[at.K_DAMPER_PLAY], k[at.K_DAMPER_STICK] = p.vent.play_pct, p.vent.stiction_pct
    k[at.K_DAMPER_FAILS] = FAILS[p.vent.fails]
    k[at.K_FRAME_W] = frame_W(p).mean()
    k[at.K_DOOR] = p.hall.discharge / 3.0 * p.hall.door_width_m * p.hall.door_height_m
    k[at.K_DOOR_HEIGHT] = p.hall.door_height_m

