"""Air cells: exchange, overturning, decay of moisture, settling fog, and a chamber that has no reason to change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import exp, sqrt
from typing import Any

import numpy as np

from plantsim.kernel import layout as at
from plantsim.params import Air, Floor, PlantParams, Start
from verification.check import Check, Effort, Figure, Plant, after, scaled, times
from verification.rooms import IDLE, chamber, live, moisture, only_air, set_cell

CELL_KG = 10.2


def two_cells(_: Effort) -> Sequence[Figure]:
    """Side by side, equally warm: only the sideways exchange x moves moisture."""
    x, steps = 0.7, 25
    params = only_air(bays=2, levels=2, cell_kg=CELL_KG)
    model = chamber(replace(params, air=replace(params.air, side_exchange_kg_per_s=x)))
    for i in range(4):
        set_cell(model, i, 20.0, 0.010 if i < 2 else 0.004)
    water = model.state.air[at.AIR_WATER]
    gap, total = float(water[0] - water[2]), float(water.sum())
    live(model, steps)
    expected = gap * exp(-2.0 * x * steps / CELL_KG)
    return (
        Figure(what="difference left", expected=expected, got=float(water[0] - water[2]), tolerance=1e-11, unit="kg"),
        Figure(what="water in both", expected=total, got=float(water.sum()), tolerance=1e-13, relative=True, unit="kg"),
    )


def overturning(_: Effort) -> Sequence[Figure]:
    """The lower cell is 4 K warmer: heat that goes up in one short step."""
    found = []
    for gap in (0.25, 4.0):
        heat = moved_up(20.0 + gap, 20.0, Air(still_exchange_kg_per_s=0.0))
        dT = gap * (1.0 + 0.608 * moisture(20.0, 50.0)) / ((293.15 + gap) * (1.0 + 0.608 * moisture(20.0, 50.0)))
        flow = 0.055 * 1.14 * sqrt(9.81 * dT * Air().opening_m ** 5)
        found.append(
            Figure(
                what=f"exchange, {gap:g} K unstable", expected=flow, got=heat, tolerance=1e-3, relative=True,
                unit="kg/s",
            )
        )  # fmt: skip
    return found


def damping(_: Effort) -> Sequence[Figure]:
    """The upper cell is warmer: what the jets still exchange through the stable layer."""
    air = replace(Air(), still_exchange_kg_per_s=0.5)
    found = []
    for gap in (0.5, 5.0):
        dT = gap / (20.0 + 273.15)
        richardson = 9.81 * (5.5 / 2.0) * dT / air.speed_still_m_per_s**2
        expected = 0.5 / (1.0 + richardson)
        got = moved_up(20.0, 20.0 + gap, air)
        found.append(
            Figure(what=f"exchange, {gap:g} K stable", expected=expected, got=got, tolerance=1e-3, relative=True,
                   unit="kg/s")
        )  # fmt: skip
    return found


def moved_up(lower_degC: float, upper_degC: float, air: Air) -> float:
    """Exchange between two levels in a step of 10 ms, kg/s, from what the lower one lost. All else is off."""
    params = only_air()
    kept = replace(air, film_W_per_m2_K=1e-12, film_W_per_m2_K_per_m_per_s=0.0, jet_exchange=0.0)
    model = chamber(replace(params, air=kept), dt_s=0.01)
    W = moisture(20.0, 50.0)
    set_cell(model, 0, lower_degC, W)
    set_cell(model, 1, upper_degC, W)
    H = model.state.air[at.AIR_H]
    before, gap = float(H[0]), float(H[0] - H[1])
    live(model, 0.01)
    return (before - float(H[0])) / gap * CELL_KG / 0.01


def decay(_: Effort) -> Sequence[Figure]:
    """Two air changes an hour by leaks, half an hour."""
    kg, steps = 700.0, 1800
    params = only_air(cell_kg=kg / 2)
    room = replace(params.room, leak_kg_per_s=2.0 * kg / 3600.0)
    model = chamber(replace(params, room=room, start=Start(rh_pct=60.0)), outdoor=(20.0, 30.0))
    first, outside = float(model.state.air[at.AIR_W].mean()), moisture(20.0, 30.0)
    live(model, steps)
    got = float(model.state.air[at.AIR_W].mean())
    euler = outside + (first - outside) * (1.0 - 2.0 / 3600.0) ** steps
    exact = outside + (first - outside) * exp(-1.0)
    return (
        Figure(what="W, explicit step", expected=euler, got=got, tolerance=1e-9, relative=True, unit="kg/kg"),
        Figure(what="W, exact solution", expected=exact, got=got, tolerance=1e-3, relative=True, unit="kg/kg"),
    )


def settling(_: Effort) -> Sequence[Figure]:
    """Air full of fog that stands still: droplets of 10 um leave it as Stokes says."""
    height, seconds = 5.5 / 2, 60
    model = chamber(only_air())
    for i in range(2):
        set_cell(model, i, 20.0, moisture(20.0, 100.0), 5e-3)
    fall = 998.0 * 9.81 * (10e-6) ** 2 / (18.0 * 1.87e-5)
    before = float(model.state.air[at.AIR_FOG, 0])
    live(model, seconds)
    left = float(model.state.air[at.AIR_FOG, 0]) / before
    return (
        Figure(what="fall", expected=2.9e-3, got=fall, tolerance=0.05e-3, unit="m/s"),
        Figure(what="fog left after a minute", expected=exp(-fall / height * seconds), got=left, tolerance=1e-5),
    )


def nothing_happens(effort: Effort) -> Sequence[Figure]:
    """The whole default chamber, empty, 20 degC and 60 %RH inside, outdoors, in the hall and in the ground."""
    params = replace(PlantParams(), floor=Floor(ground_degC=20.0), start=Start(rh_pct=60.0))
    model = chamber(params, outdoor=(20.0, 60.0))
    v = model.state
    tables = {"air": v.air, "boards": v.board, "envelope": v.wall, "floor": v.floor}
    before = {name: table.copy() for name, table in tables.items()}
    live(model, 30.0 if effort is Effort.PLANTED else 86400.0, IDLE)
    return [
        Figure(what=f"{name}, furthest from the start", expected=0.0, got=changed(table, before[name]), tolerance=1e-10)
        for name, table in tables.items()
    ]


def changed(now: Any, then: Any) -> float:
    """Largest change of any entry, relative where it is large."""
    return float(np.abs((now - then) / np.maximum(np.abs(then), 1.0)).max())


def _one_way(k: Any, share: Any, air: Any, *rest: Any) -> None:
    air[at.AIR_WATER, 0] *= 1.0 - 1e-9


def _warms(k: Any, air: Any, floor: Any, *rest: Any) -> None:
    floor[0] += 1e-8


CHECKS = (
    Check(
        name="two cells approach each other", subject="air cells",
        proves="exchange is the exact solution for any step, and what leaves one cell enters the other",
        formula="difference ~ exp(-2 x t / M)", source="recomputed: closed form", run=two_cells,
        plants=(
            Plant(what="explicit step instead of the exponential",
                  changes={"kernel.mixing.exp": lambda right: lambda x: 1.0 + x}),
            Plant(what="a billionth of one cell's water lost a step", changes={"kernel.mixing.mix": after(_one_way)}),
        ),
    ),
    Check(
        name="overturning", subject="air cells",
        proves="warm air below cold air turns over, as much as through a horizontal opening",
        formula="m = 0.055 rho sqrt(g D^5 dT/T), T virtual", source="Epstein (1988), from memory", run=overturning,
        plants=(
            Plant(what="coefficient 9 % small", changes={"kernel.mixing.OVERTURNING": times(0.91)}),
            Plant(what="difference instead of its root", changes={"kernel.mixing.sqrt": lambda right: lambda x: x}),
        ),
    ),
    Check(
        name="stable layers damp the jets", subject="air cells",
        proves="a warm layer above keeps the cold one below: why a chamber stratifies without fans",
        formula="x / (1 + Ri), Ri = g dz dT / (T u^2)", source="recomputed: closed form", run=damping,
        plants=(Plant(what="gravity 3 % large", changes={"kernel.mixing.GRAVITY": times(1.03)}),),
    ),
    Check(
        name="decay of moisture", subject="air cells",
        proves="air changes carry moisture out exponentially; the explicit step's error is first order",
        formula="W = Wo + (W0 - Wo) exp(-n t)", source="recomputed: closed form", run=decay,
        plants=(Plant(what="leak counted per level twice",
                      changes={"pack.product.pack_cells": after(lambda cell, *rest: cell[at.C_LEAK].__imul__(1.01))},
                      compiled=True),),
    ),
    Check(
        name="fog settles", subject="air cells",
        proves="droplets that hang in the air land at Stokes' speed",
        formula="v = rho g d^2 / (18 mu); F ~ exp(-v t / h)",
        source="recomputed: Stokes' law, water 998 kg/m3, air 1.87e-5 Pa s", run=settling,
        plants=(
            Plant(what="fall 5 % fast", changes={"pack.fog.fall_m_per_s": scaled(1.05)}, compiled=True),
            Plant(what="gravity's rate times the step, not the exponential",
                  changes={"kernel.droplets.exp": lambda right: lambda x: 1.0 + 0.9 * x}),
        ),
    ),
    Check(
        name="nothing happens by itself", subject="air cells",
        proves="a chamber like its surroundings stays as it is for 24 h",
        formula="all fluxes are zero", source="recomputed: nothing moves where everything is alike",
        run=nothing_happens, sized=True,
        plants=(Plant(what="a floor that warms by 1e-8 K a step",
                      changes={"kernel.ground.conduct_floor": after(_warms)}),),
    ),
)  # fmt: skip
