"""Instruments: their constants, and where in the state each one looks."""

from __future__ import annotations

from math import inf

import numpy as np

from plantsim.kernel import layout as at
from plantsim.kernel.feel import AIR, AIR_HUMIDITY, BODY, ELEMENT, SOURCE, WARM_DEW, WARM_HUMIDITY, WICK
from plantsim.kernel.layout import Floats, Tables, Whole
from plantsim.pack.common import MisfitError, gain
from plantsim.pack.places import cells_of, count
from plantsim.pack.pt100 import errors
from plantsim.pack.room import has_door
from plantsim.params import PlantParams, Probe
from plantsim.params.probechecks import require_sound

# Default range of the current loop of each kind of probe, until the point list sets it.
SPANS: dict[str, tuple[float, float]] = {
    "rh": (0, 100), "outdoor_rh": (0, 100), "product": (-10, 90), "supply": (-10, 90), "hall": (-20, 60),
    "outdoor_t": (-40, 60), "water": (0, 120), "fan_speed": (0, 100), "airflow": (0, 15), "valve": (0, 100),
    "damper": (0, 100), "heat_kW": (0, 120), "fan_kW": (0, 15), "fog_kg_per_h": (0, 100),
}  # fmt: skip
# What the kernel makes of a kind that sees something in the air; everything else is taken from its source.
_FEELS = {
    ("plain", "air"): AIR, ("pt100", "air"): AIR, ("plain", "rh"): AIR_HUMIDITY, ("capacitive", "air"): BODY,
    ("capacitive", "rh"): ELEMENT, ("warmed", "rh"): WARM_HUMIDITY, ("warmed", "dew"): WARM_DEW, ("wick", "wet"): WICK,
}  # fmt: skip
FAILS_uA = {"low": 3500.0, "high": 21500.0}  # NAMUR NE 43: at or below 3.6 mA, at or above 21 mA
_YEAR_S = 8760.0 * 3600.0


def is_plain(probe: Probe) -> bool:
    """Whether nothing but tag, place in the grid, lag, noise and offset is given: such a probe takes the short way."""
    plain = Probe(tag=probe.tag, sees=probe.sees)
    names = ("kind", "place", "transmitter", "card", "pt100", "capacitive", "warmed", "wick")
    return all(getattr(probe, name) == getattr(plain, name) for name in names)


def pack_probes(c: Tables, p: PlantParams, dt: float) -> None:
    """One column of constants a probe. ValueError that names every contradiction."""
    require_sound(p)
    odd = [i for i, probe in enumerate(p.probe) if not is_plain(probe)]
    c.probe[at.R_ODD] = -1.0
    c.probe[at.R_ODD, : len(odd)] = odd
    for i, probe in enumerate(p.probe):
        lo, hi = SPANS.get(probe.sees, (-10.0, 60.0))
        scale = 100.0 if probe.sees == "rh" else 1.0
        c.probe[:6, i] = (probe.lag_s, probe.noise, probe.offset, lo, hi, scale)
        if i in odd:
            _pack_place(c.probe[:, i], p, probe, dt)
            _pack_kind(c.probe[:, i], probe, dt)
            _pack_signal(c.probe[:, i], probe)


def pack_senses(senses: Floats, p: PlantParams) -> None:
    """What the probes remember at the start: nothing yet, but the state of the wicks."""
    senses[:] = 0.0
    acclimatise(senses, p)
    for i, probe in enumerate(p.probe):
        wick = probe.wick
        senses[[at.N_WETTED, at.N_SALT, at.N_RESERVOIR], i] = wick.wetted, wick.salt, wick.reservoir_K
        senses[at.N_WARM, i] = probe.warmed.warm_K if probe.kind == "warmed" else 0.0


def acclimatise(senses: Floats, p: PlantParams) -> None:
    """Let every probe take up the air at its place at once, as if it had hung there long; films and drifts stay."""
    odd = [i for i, probe in enumerate(p.probe) if not is_plain(probe)]
    for row in (at.N_AIR_T, at.N_AIR_W, at.N_BODY_T, at.N_WET_T):
        senses[row, odd] = np.nan


def _pack_place(own: Floats, p: PlantParams, probe: Probe, dt: float) -> None:
    place = probe.place
    own[at.R_KIND] = _FEELS.get((probe.kind, probe.sees), SOURCE)
    own[at.R_CELL] = cell_of(p, probe) if own[at.R_KIND] != SOURCE else -1
    own[at.R_JET], own[at.R_STRATIFIED] = place.jet_share, place.stratified_K
    own[at.R_CORNER] = gain(place.exchange_s, dt) if place.exchange_s > 0.0 else 1.0
    own[at.R_WALL], own[at.R_RADIANT] = place.wall_share, place.radiant_share


def _pack_kind(own: Floats, probe: Probe, dt: float) -> None:
    capacitive, warmed = probe.capacitive, probe.warmed
    own[at.R_FILM_MOST], own[at.R_FILM_H] = capacitive.film_most_kg_per_m2, capacitive.film_W_per_m2_K
    own[at.R_RISE], own[at.R_FALL] = (
        gain(3600.0 * capacitive.memory_rise_h, dt),
        gain(3600.0 * capacitive.memory_fall_h, dt),
    )
    own[at.R_BODY] = gain(warmed.body_s if probe.kind == "warmed" else capacitive.body_s, dt)
    own[at.R_LEAST], own[at.R_MOST] = (
        (0.0, 100.0) if probe.kind in ("capacitive", "warmed") and probe.sees == "rh" else (-inf, inf)
    )
    if probe.kind == "capacitive" and probe.sees == "rh":
        own[at.R_SLOPE], own[at.R_MEMORY] = capacitive.gain_error, capacitive.memory_pct
        own[at.R_DRIFT] = capacitive.drift_pct_per_year / _YEAR_S
        own[at.R_OFFSET] += capacitive.drift_pct_per_year * capacitive.age_years
    if probe.kind == "warmed":
        own[at.R_RH_ERROR], own[at.R_BODY_ERROR] = warmed.rh_error_pct, warmed.body_error_K
        own[at.R_AIR_ERROR] = warmed.air_error_K
    if probe.kind in ("pt100", "wick"):
        offset, own[at.R_SLOPE] = errors(probe.tag, probe.pt100)
        own[at.R_OFFSET] += offset
    own[at.R_WICK_A], own[at.R_WICK_AIR] = probe.wick.coefficient_per_K, probe.wick.air_m_per_s


def _pack_signal(own: Floats, probe: Probe) -> None:
    transmitter, card = probe.transmitter, probe.card
    own[at.R_ZERO_ERROR], own[at.R_SPAN_ERROR] = 160.0 * transmitter.zero_error_pct, 160.0 * transmitter.span_error_pct
    own[at.R_FAILS_uA] = FAILS_uA[transmitter.fails]
    own[at.R_COUNT_uA] = 1e3 * (card.to_mA - card.from_mA) / 2.0**card.bits
    own[at.R_CARD_ZERO_uA] = 1e3 * card.from_mA
    own[at.R_CARD_LO_uA], own[at.R_CARD_HI_uA] = 1e3 * card.least_mA, 1e3 * card.most_mA


def cell_of(p: PlantParams, probe: Probe) -> int:
    """Number of the cell in which a probe hangs. ValueError for a place that does not exist."""
    bays, levels = p.room.bays, p.room.levels
    level = levels if probe.sees == "ceiling" else (probe.level or levels // 2 + 1)
    if not (1 <= probe.bay <= bays and 1 <= level <= levels):
        raise ValueError(f"probe {probe.tag}: bay {probe.bay} level {level} is outside {bays} bays x {levels} levels")
    if probe.depth > p.room.depth_cells:
        limit = f"this chamber has {p.room.depth_cells} cells of depth (room.depth_cells)"
        raise MisfitError(f"probe {probe.tag} depth", probe.depth, limit, "correct it, or leave it out: the middle")
    return int(cells_of(p.room, probe.bay, level)[(probe.depth or p.room.depth_cells // 2 + 1) - 1])


def aim(whole: Whole, p: PlantParams, loaded: Floats) -> None:
    """Let the probes in product see it, or the rack where nothing stands any more. whole: as `pack` made it."""
    first = whole.size - len(p.probe)
    for i, probe in enumerate(p.probe):
        if probe.sees == "product":
            whole[first + i] = source(p, probe, loaded)


def source(p: PlantParams, probe: Probe, loaded: Floats) -> int:
    """Entry of the state vector that a probe sees. ValueError for a place that does not exist."""
    bays, levels = p.room.bays, p.room.levels
    n = count(p.room)
    shape = (bays, p.room.depth_cells, levels, len(p.probe))
    where = at.state_views(np.arange(at.state_size(*shape), dtype=float), *shape)
    gear = {
        "supply": at.G_SUPPLY_T, "return": at.G_RETURN_T, "hall": at.G_HALL_T, "outdoor_t": at.G_OUT_T,
        "outdoor_rh": at.G_OUT_RH, "water": at.G_WATER_T, "fan_speed": at.G_SPEED, "airflow": at.G_FLOW,
        "valve": at.G_VALVE, "damper": at.G_DAMPER, "heat_kW": at.G_HEAT_kW, "fan_kW": at.G_FAN_kW,
        "fog_kg_per_h": at.G_FOG_KG_H,
    }  # fmt: skip
    if probe.sees in gear:
        return int(where.gear[gear[probe.sees]])
    cell = cell_of(p, probe)
    if probe.sees == "frame":
        if not has_door(p)[probe.bay - 1]:
            remedy = "hang it at a bay of hall.doors"
            raise MisfitError(f"probe {probe.tag} bay", probe.bay, "a door frame needs a door", remedy)
        return int(where.wall[at.S_T, n + probe.bay - 1])
    empty = probe.sees == "product" and not loaded[cell]
    row = {
        "air": where.air[at.AIR_T], "rh": where.air[at.AIR_RH], "board": where.board[at.S_T],
        "wet": where.air[at.AIR_T], "dew": where.air[at.AIR_T], "ceiling": where.wall[at.S_T],
        "product": where.board[at.S_T] if empty else where.product[at.P_CORE],
    }[probe.sees]  # fmt: skip
    return int(row[cell])
