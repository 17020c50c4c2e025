"""How air moves: between cells, by the fan, to and from outdoors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le, Len, Lt

from plantsim.params.bounds import BAYS_MAX, Fails, NotNegative, Positive

Characteristic = Literal["equal-percentage", "linear", "table"]
Percent = Annotated[float, Ge(0), Le(100)]
Table = Annotated[tuple[tuple[Percent, Percent], ...], Len(0, 12)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """How air moves between cells and along surfaces.

    depth_*: exchange of the cells of a bay along its depth, as side_* between bays: smaller as the face is smaller.
    """

    still_exchange_kg_per_s: Annotated[float, Ge(0), Le(10)] = 0.02  # vertical, fans off, before stability damps it
    jet_exchange: Annotated[float, Ge(0), Le(100)] = 3.0  # vertical exchange per kg/s through the bay
    side_exchange_kg_per_s: Annotated[float, Ge(0), Le(10)] = 0.05
    side_jet_exchange: Annotated[float, Ge(0), Le(100)] = 1.0
    depth_exchange_kg_per_s: Annotated[float, Ge(0), Le(10)] = 0.007
    depth_jet_exchange: Annotated[float, Ge(0), Le(100)] = 0.13  # per kg/s through the bay
    opening_m: Annotated[float, Ge(0.05), Le(20)] = 1.7  # horizontal opening through which unstable layers overturn
    speed_m_per_s_per_kg_per_s: Annotated[float, Ge(0), Le(10)] = 0.2
    speed_still_m_per_s: Annotated[float, Ge(0.005), Le(1)] = 0.05
    film_W_per_m2_K: Annotated[float, Ge(0.5), Le(50)] = 4.0  # heat transfer coefficient = this + next * air speed
    film_W_per_m2_K_per_m_per_s: Annotated[float, Ge(0), Le(50)] = 4.0
    plumes: Annotated[int, Ge(1), Le(8)] = 1  # warm columns that the coil sends up when the fan stands
    plume_below_kg_per_s: Annotated[float, Ge(0.01), Le(20)] = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Fan:
    """Circulating fan: flow with speed, power with its cube, all of it heat in the air.

    pattern: way of the air. down = let out above, returned at the floor; up = the other way round; across = let out in
    the back wall, returned at the front (with one cell of depth: both in the same cell).
    outlet: relative opening of the outlet at every bay and level, one list a bay, lowest level first; empty = what the
    pattern usually has: down all above, up all below, across alike at every level.
    bay_share: a short way of saying it: relative flow of each bay through the usual outlets; empty = all alike.
    """

    full_kg_per_s: Annotated[float, Ge(0.01), Le(500)] = 12.0
    rated_kg_per_s: Annotated[float, Ge(0.01), Le(500)] = 9.0
    rated_kW: Annotated[float, Ge(0.001), Le(200)] = 4.0
    lag_s: Annotated[float, Ge(0.1), Le(600)] = 8.0
    pattern: Literal["down", "up", "across"] = "down"
    outlet: Annotated[tuple[tuple[NotNegative, ...], ...], Len(0, BAYS_MAX)] = ()
    bay_share: Annotated[tuple[Positive, ...], Len(0, BAYS_MAX)] = ()
    proven_kg_per_s: Annotated[float, Ge(0.001), Le(500)] = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Makeup:
    """The damper of the make-up air, in series with that of the exhaust. authority 0: there is none.

    Both dampers take the same output. For characteristic, table, leakage and authority see Vent.
    """

    characteristic: Characteristic = "linear"
    table: Table = ()
    rangeability: Annotated[float, Gt(1), Le(200)] = 50.0
    authority: Annotated[float, Ge(0), Lt(1)] = 0.0
    leakage_share: Annotated[float, Ge(0), Le(0.5)] = 0.0
    stroke_s: Annotated[float, Ge(1), Le(600)] = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Vent:
    """Exhaust fan and damper at the return; as much outdoor air enters at the plenum.

    play_pct, stiction_pct, fails: of the damper's drive, as with the valve of a Coil.
    characteristic: free area of the damper with its position. table: (position %, area %) from 0 to 100 %, for
    "table" only. authority: its share of the exhaust fan's pressure when open. leakage_share: area when shut.
    recovery_efficiency: share of the way to the return temperature that an exchanger brings the make-up air, 0 = none;
    its exhaust side is kept above recovery_frost_degC. It has no bypass for days when cooling is wanted.
    """

    max_kg_per_s: Annotated[float, Ge(0), Le(100)] = 1.0
    characteristic: Characteristic = "equal-percentage"
    table: Table = ()
    rangeability: Annotated[float, Gt(1), Le(200)] = 50.0
    authority: Annotated[float, Gt(0), Le(1)] = 0.5
    leakage_share: Annotated[float, Ge(0), Le(0.5)] = 0.0
    stroke_s: Annotated[float, Ge(1), Le(600)] = 60.0
    play_pct: Annotated[float, Ge(0), Le(50)] = 0.0
    stiction_pct: Annotated[float, Ge(0), Le(50)] = 0.0
    fails: Fails = "stay"
    makeup: Makeup = Makeup()
    recovery_efficiency: Annotated[float, Ge(0), Lt(1)] = 0.0
    recovery_frost_degC: Annotated[float, Ge(-5), Le(15)] = 1.0
