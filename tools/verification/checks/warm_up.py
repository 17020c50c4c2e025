"""A warm-up with pulses of heat, vent and fog against an outside stiff solver: sharp, and with outputs that change.

Beside it a plain warm-up of product without a film: in the pulses every surface has water on it, so that they never
see the moisture of the concrete itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np

from plantsim.kernel import layout as at
from verification import stepped
from verification.check import Check, Effort, Figure, Plant, after, scaled, times
from verification.equations import Equations, Vector
from verification.pulses import QUANTITIES, UNITS, Pulsed, Pulses, pulsed, quantities

# Hours -> largest error of the step of 1 s, and of what the steps of 0.5 and 0.25 s point at, in QUANTITIES' units:
# about twice what was found.
SHORT_h, LONG_h = 0.5, 6.0
ALLOWED = {
    SHORT_h: ((0.08, 0.06, 6e-3, 4e-3, 9e-3, 0.022, 0.13), (1.3e-3, 3e-4, 1.2e-4, 8e-5, 2e-4, 4e-4, 2.5e-3)),
    LONG_h: ((0.09, 0.06, 0.035, 0.035, 0.045, 0.08, 2.2), (1.6e-3, 6e-4, 9e-4, 9e-4, 1.2e-3, 8e-4, 0.045)),
}
DRY_MINUTES = {Effort.PLANTED: 4.0, Effort.GATE: 8.0, Effort.FULL: 240.0}
DRY_UNITS = ("K", "kg/kg", "K", "K", "K", "kg", "K")
LONG = 2.0  # over hours errors may add up to twice those of half an hour, for which the limits were found


def pulses(hours: float) -> Pulses:
    """Heat; spray on top; a strong fan; fan off with vent and spray, so that cold air sinks from above; heat again."""
    end = 3600.0 * hours
    moments = tuple(round(share * end) * 1.0 for share in (0.0, 0.3, 0.35, 0.5, 0.6))
    outputs = (
        (1.0, 50.0, 1.0, 60.0, 0.0, 0.0, 0.0, 1.0),
        (1.0, 50.0, 1.0, 60.0, 0.0, 1.0, 0.0, 1.0),
        (1.0, 75.0, 1.0, 30.0, 0.0, 0.0, 0.0, 0.0),
        (0.0, 75.0, 0.0, 0.0, 100.0, 0.0, 1.0, 1.0),
        (1.0, 50.0, 1.0, 40.0, 0.0, 0.0, 0.0, 1.0),
    )
    return Pulses(at_s=moments, outputs=outputs, end_s=end, outdoor=(-5.0, 80.0), rh_pct=98.0, loose=100.0)


@lru_cache(maxsize=2)
def solved(hours: float) -> tuple[Pulsed, list[list[Vector]]]:
    """The outside solver's states. Errors are planted in what the equations do not use, so they may be kept."""
    equations = Pulsed(pulses(hours))
    return equations, [quantities(equations, y) for y in equations.looks()]


def warm_up(effort: Effort) -> Sequence[Figure]:
    """Both ways, compared at every change of outputs."""
    hours = LONG_h if effort is Effort.FULL else SHORT_h
    at_one_second, pointed_at = ALLOWED[hours]
    equations, exact = solved(hours)
    steps = (1.0, 0.5, 0.25)
    one, half, quarter = ([quantities(equations, y) for y in pulsed(pulses(hours), dt)] for dt in steps)
    pointed = [[2.0 * b - a for a, b in zip(x, y, strict=True)] for x, y in zip(half, quarter, strict=True)]
    found = []
    for i, (name, unit) in enumerate(zip(QUANTITIES, UNITS, strict=True)):
        off = [apart(run, exact, i) for run in (one, half, quarter)]
        found += [
            Figure(what=f"{name}, step of 1 s", expected=0.0, got=off[0], tolerance=at_one_second[i], unit=unit),
            Figure(what=f"{name}, steps to 0", expected=0.0, got=apart(pointed, exact, i), tolerance=pointed_at[i],
                   unit=unit),
            Figure(what=f"{name}, error at 0.5 s over 0.25 s (1.8 to 2.4)", expected=2.1, got=off[1] / off[2],
                   tolerance=0.3),
        ]  # fmt: skip
    return [*found, *dry(DRY_MINUTES[effort])]


def dry(minutes: float) -> list[Figure]:
    """Furthest of all places at the end of a plain warm-up, for each quantity."""
    case = stepped.DRY._replace(minutes=minutes)
    equations = Equations(stepped.params_of(case), case)
    exact = stepped.quantities(equations, equations.solve())
    model = stepped.quantities(equations, stepped.stepped(case, 1.0))
    share = LONG if minutes > 60.0 else 1.0
    return [
        Figure(what=f"no film, {minutes:g} min: {quantity}", expected=0.0, got=float(np.abs(x - y).max()),
               tolerance=share * limit, unit=unit)
        for (quantity, limit), unit, x, y in zip(stepped.LIMITS.items(), DRY_UNITS, model, exact, strict=False)
    ]  # fmt: skip


def apart(run: list[list[Vector]], exact: list[list[Vector]], i: int) -> float:
    """Largest difference of one quantity, anywhere and at any time."""
    return float(max(np.abs(a[i] - b[i]).max() for a, b in zip(run, exact, strict=True)))


def _opening(k: Any, *rest: Any) -> None:
    k[at.K_OPENING] *= 0.91**0.4


def _pores(cell: Any, *rest: Any) -> None:
    cell[at.C_ACTIVITY] *= 0.98


def _hydration(cell: Any, *rest: Any) -> None:
    cell[at.C_HYDRATION] *= 1.01


CHECKS = (
    Check(
        name="stiff integration", subject="whole chamber", sized=True,
        proves="the model's steps solve the balances of air, product, boards, envelope and floor: equations written "
        "apart, an outside solver, hours with pulses of heat, vent and fog; steps of 1 s and their limit. "
        "And a plain warm-up of product without a film",
        formula="dy/dt = f(y): 77 states of 2 bays x 3 levels; 2 y(0.25 s) - y(0.5 s) -> y",
        source="library: scipy.integrate.solve_ivp, LSODA, rtol 1e-6, atol 1e-7 of each state's size",
        run=warm_up,
        plants=(
            Plant(what="fall of droplets 5 % fast", changes={"pack.fog.fall_m_per_s": scaled(1.05)}, compiled=True),
            Plant(what="overturning 9 % weak", changes={"pack.air.pack_air": after(_opening)}, compiled=True),
            Plant(what="heat of hydration 1 % large", changes={"pack.product.load_cells": after(_hydration)},
                  compiled=True),
            Plant(what="pores of the concrete 2 % too dry", changes={"pack.product.load_cells": after(_pores)},
                  compiled=True),
            Plant(what="vapour moves a third too slowly", changes={
                "kernel.surfaces.LEWIS_J_PER_KG_K": times(1.5), "kernel.product.LEWIS_J_PER_KG_K": times(1.5)}),
            Plant(what="a plume half as strong again", changes={"kernel.circulation.PLUME": times(1.5)}),
        ),
    ),
)  # fmt: skip
