"""Instruments: their constants, and where in the state each one looks."""

from __future__ import annotations

import numpy as np

from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats, Tables, Whole
from plantsim.params import PlantParams, Probe

# Default range of the current loop of each kind of probe, until the point list sets it.
SPANS: dict[str, tuple[float, float]] = {
    "rh": (0, 100), "outdoor_rh": (0, 100), "product": (-10, 90), "supply": (-10, 90), "hall": (-20, 60),
    "outdoor_t": (-40, 60), "water": (0, 120), "fan_speed": (0, 100), "airflow": (0, 15), "valve": (0, 100),
    "damper": (0, 100), "heat_kW": (0, 120), "fan_kW": (0, 15), "fog_kg_per_h": (0, 100),
}  # fmt: skip


def pack_probes(c: Tables, p: PlantParams) -> None:
    """One column of constants a probe."""
    for i, probe in enumerate(p.probe):
        lo, hi = SPANS.get(probe.sees, (-10.0, 60.0))
        scale = 100.0 if probe.sees == "rh" else 1.0
        c.probe[:6, i] = (probe.lag_s, probe.noise, probe.offset, lo, hi, scale)


def aim(whole: Whole, p: PlantParams, loaded: Floats) -> None:
    """Let the probes in product see it, or the rack where nothing stands any more. whole: as `pack` made it."""
    first = whole.size - len(p.probe)
    for i, probe in enumerate(p.probe):
        if probe.sees == "product":
            whole[first + i] = source(p, probe, loaded)


def source(p: PlantParams, probe: Probe, loaded: Floats) -> int:
    """Entry of the state vector that a probe sees. ValueError for a place that does not exist."""
    bays, levels = p.room.bays, p.room.levels
    n = bays * levels
    size = at.state_size(bays, levels, len(p.probe))
    where = at.state_views(np.arange(size, dtype=float), bays, levels, len(p.probe))
    gear = {
        "supply": at.G_SUPPLY_T, "return": at.G_RETURN_T, "hall": at.G_HALL_T, "outdoor_t": at.G_OUT_T,
        "outdoor_rh": at.G_OUT_RH, "water": at.G_WATER_T, "fan_speed": at.G_SPEED, "airflow": at.G_FLOW,
        "valve": at.G_VALVE, "damper": at.G_DAMPER, "heat_kW": at.G_HEAT_kW, "fan_kW": at.G_FAN_kW,
        "fog_kg_per_h": at.G_FOG_KG_H,
    }  # fmt: skip
    if probe.sees in gear:
        return int(where.gear[gear[probe.sees]])
    level = levels if probe.sees == "ceiling" else (probe.level or levels // 2 + 1)
    if not (1 <= probe.bay <= bays and 1 <= level <= levels):
        raise ValueError(f"probe {probe.tag}: bay {probe.bay} level {level} is outside {bays} bays x {levels} levels")
    cell = (probe.bay - 1) * levels + level - 1
    if probe.sees == "frame":
        return int(where.wall[at.S_T, n + probe.bay - 1])
    empty = probe.sees == "product" and not loaded[cell]
    row = {
        "air": where.air[at.AIR_T], "rh": where.air[at.AIR_RH], "board": where.board[at.S_T],
        "ceiling": where.wall[at.S_T], "product": where.board[at.S_T] if empty else where.product[at.P_CORE],
    }[probe.sees]  # fmt: skip
    return int(row[cell])
