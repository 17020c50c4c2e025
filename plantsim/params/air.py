"""How air moves: between cells, by the fan, to and from outdoors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Ge, Gt, Le, Len

from plantsim.params.bounds import Fails, NotNegative, Positive


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """How air moves between cells and along surfaces."""

    still_exchange_kg_per_s: NotNegative = 0.02  # vertical, fans off, before stability damps it
    jet_exchange: NotNegative = 3.0  # vertical exchange per kg/s through the bay
    side_exchange_kg_per_s: NotNegative = 0.05
    side_jet_exchange: NotNegative = 1.0
    opening_m: Positive = 1.7  # horizontal opening through which unstable layers overturn
    speed_m_per_s_per_kg_per_s: NotNegative = 0.2
    speed_still_m_per_s: Positive = 0.05
    film_W_per_m2_K: Positive = 4.0  # heat transfer coefficient = this + next * air speed
    film_W_per_m2_K_per_m_per_s: NotNegative = 4.0
    plumes: Annotated[int, Ge(1), Le(8)] = 1  # warm columns that the coil sends up when the fan stands
    plume_below_kg_per_s: Positive = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Fan:
    """Circulating fan: flow with speed, power with its cube, all of it heat in the air."""

    full_kg_per_s: Positive = 12.0
    rated_kg_per_s: Positive = 9.0
    rated_kW: Positive = 4.0
    lag_s: Positive = 8.0
    bay_share: Annotated[tuple[Positive, ...], Len(0, 8)] = ()  # relative flow of each bay; empty = all alike
    proven_kg_per_s: Positive = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Vent:
    """Exhaust fan and damper at the return; as much outdoor air enters at the plenum.

    play_pct, stiction_pct, fails: of the damper's drive, as with the valve of a Coil.
    """

    max_kg_per_s: NotNegative = 1.0
    rangeability: Annotated[float, Gt(1), Le(200)] = 50.0
    authority: Annotated[float, Gt(0), Le(1)] = 0.5
    stroke_s: Positive = 60.0
    play_pct: Annotated[float, Ge(0), Le(50)] = 0.0
    stiction_pct: Annotated[float, Ge(0), Le(50)] = 0.0
    fails: Fails = "stay"
