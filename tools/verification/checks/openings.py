"""Doors, plumes, and what the fan's loop moves: flows of air by density."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import sqrt
from typing import Any

import numpy as np
from CoolProp.HumidAirProp import HAPropsSI

from plantsim.kernel import layout as at
from plantsim.params import Coil, Hall
from verification.check import Check, Effort, Figure, Plant, after, times
from verification.rooms import PA, chamber, live, moisture, only_air, set_cell


def door(_: Effort) -> Sequence[Figure]:
    """32 degC / 98 % inside, hall at 5 degC / 80 %, one door of 1.6 m x 5 m: exchange in a step of 0.1 s."""
    dt, kg = 0.1, 200.0
    params = replace(only_air(cell_kg=kg), hall=Hall(degC=5.0, rh_pct=80.0))
    model = chamber(params, dt_s=dt)
    W, out = moisture(32.0, 98.0), moisture(5.0, 80.0)
    for i in range(2):
        set_cell(model, i, 32.0, W)
    model.set_door(1, open_=True)
    before = float(model.state.air[at.AIR_WATER].sum())
    live(model, dt)
    lost = before - float(model.state.air[at.AIR_WATER].sum())
    volume = lost / dt / (W - out) / 1.14
    warm, cold = (1.0 / HAPropsSI("Vha", "T", t + 273.15, "R", rh, "P", PA) for t, rh in ((32.0, 0.98), (5.0, 0.8)))
    by_density = 0.6 / 3.0 * 1.6 * 5.0 * sqrt(9.81 * 5.0 * 2.0 * (cold - warm) / (cold + warm))
    Tv = [(t + 273.15) * (1.0 + 0.608 * w) for t, w in ((32.0, W), (5.0, out))]
    own = 0.6 / 3.0 * 1.6 * 5.0 * sqrt(9.81 * 5.0 * (Tv[0] - Tv[1]) / Tv[1])
    return (
        Figure(what="volume flow, virtual temperatures", expected=own, got=volume, tolerance=0.005, relative=True,
               unit="m3/s"),
        Figure(what="volume flow, densities by CoolProp", expected=by_density, got=volume, tolerance=0.045,
               relative=True, unit="m3/s"),
    )  # fmt: skip


def plume(_: Effort) -> Sequence[Figure]:
    """10 kW rise from the floor of a room 5 m high with the fan off: flow at the top and its excess temperature."""
    dt, kg = 0.1, 300.0
    params = only_air(levels=10, cell_kg=kg)
    params = replace(
        params,
        room=replace(params.room, height_m=5.0),
        heat=Coil(lag_s=1e12),
    )
    model = chamber(params, dt_s=dt)
    model.state.gear[at.G_COIL_W] = 10e3
    for i in range(10):
        set_cell(model, i, 20.0, 0.004 if i == 9 else 0.008)
    before = float(model.state.air[at.AIR_WATER, 9])
    live(model, dt)
    flow = (float(model.state.air[at.AIR_WATER, 9]) - before) / dt / (0.008 - 0.004)
    supply = float(model.state.gear[at.G_SUPPLY_T]) - 20.0
    return (
        Figure(what="flow at 5 m", expected=2.236, got=flow, tolerance=0.001, relative=True, unit="kg/s"),
        Figure(what="excess at 5 m", expected=4.4, got=supply, tolerance=0.1, unit="K"),
        Figure(what="heat in it", expected=10e3, got=flow * supply * 1021.0, tolerance=0.005, relative=True, unit="W"),
    )


def loop(_: Effort) -> Sequence[Figure]:
    """The fan turns a chamber of two bays and three levels over: sums in and out of every cell, and of all."""
    params = only_air(bays=2, levels=3, cell_kg=100.0)
    model = chamber(params, dt_s=0.1)
    live(model, 1.0, (1.0, 50.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0))
    gains = np.zeros((6, 6))
    for j in range(6):
        for i in range(6):
            set_cell(model, i, 20.0, 0.008 if i == j else 0.004)
        before = model.state.air[at.AIR_WATER].copy()
        live(model, 0.1, (1.0, 50.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0))
        gains[:, j] = (model.state.air[at.AIR_WATER] - before) / 0.1 / 0.004
    flow = float(model.state.gear[at.G_FLOW])
    rows, columns = np.abs(gains.sum(axis=1)).max(), np.abs(gains.sum(axis=0)).max()
    return (
        Figure(what="fan's flow", expected=6.0, got=flow, tolerance=1e-9, unit="kg/s"),
        Figure(what="out of a cell", expected=-flow / 2.0, got=float(gains[4, 4]), tolerance=1e-6, relative=True,
               unit="kg/s"),
        Figure(what="largest row sum", expected=0.0, got=float(rows), tolerance=1e-9, unit="kg/s"),
        Figure(what="largest column sum", expected=0.0, got=float(columns), tolerance=1e-9, unit="kg/s"),
    )  # fmt: skip


def _wider(k: Any, *rest: Any) -> None:
    k[at.K_DOOR] *= 0.65 / 0.6


CHECKS = (
    Check(
        name="open door", subject="openings",
        proves="an open door exchanges what two columns of air of different density do",
        formula="V = C/3 w h sqrt(g h dT/T), C = 0.6, virtual temperatures",
        source="Brown and Solvason (1962), as in the open Buildings library, Airflow.Multizone.DoorOpen; CoolProp",
        run=door,
        plants=(
            Plant(what="discharge 0.65 for 0.6", compiled=True,
                  changes={"pack.air.pack_air": after(_wider)}),
        ),
    ),
    Check(
        name="plume", subject="openings",
        proves="without fan, heat rises in a column that takes air along: why the bottom stays cold",
        formula="m = 0.071 q^(1/3) z^(5/3), kW and m; dT = q / (m c_p)",
        source="recomputed: Morton, Taylor and Turner's plume with Zukoski's coefficient, from memory", run=plume,
        plants=(Plant(what="coefficient 4 % small", changes={"kernel.circulation.PLUME": times(0.96)}),),
    ),
    Check(
        name="the fan's loop", subject="openings",
        proves="what the fan carries into each cell it carries out of another: rows and columns of the flows add to 0",
        formula="sum_j G_ij = sum_i G_ij = 0", source="recomputed: conservation of dry air", run=loop,
        plants=(Plant(what="shares of the bays that add to 1.001", compiled=True, changes={
            "pack.ways.shares": lambda right: lambda params: right(params) * 1.001}),),
    ),
)  # fmt: skip
