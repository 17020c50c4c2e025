"""The chamber model's steps against a stiff outside solver on equations written apart from it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from verification.check import Check, Effort, Figure, Plant, times
from verification.equations import Case, Equations
from verification.stepped import DRY, LIMITS, STILL, WET, params_of, quantities, stepped

UNITS = {"air_K": "K", "W": "kg/kg", "skin_K": "K", "board_K": "K", "wall_K": "K", "films_kg": "kg", "frame_K": "K"}
MINUTES = {Effort.PLANTED: 4.0, Effort.GATE: 8.0, Effort.FULL: 240.0}
LONG = 2.0  # over hours errors may add up to twice those of half an hour, for which LIMITS were found


def warm_up(effort: Effort) -> Sequence[Figure]:
    """Furthest of all places at the end, for each quantity, in three runs; a whole warm-up of four hours when FULL."""
    cases = (("warm-up", DRY), ("fog and condensation", WET), ("no fan", STILL))
    return [
        figure
        for name, case in cases
        for figure in both(name, case._replace(minutes=min(MINUTES[effort], 30.0 if case is WET else 240.0)))
    ]


def both(name: str, case: Case) -> list[Figure]:
    """One run at 1 s against the solver."""
    equations = Equations(params_of(case), case)
    exact = quantities(equations, equations.solve())
    share = LONG if case.minutes > 60.0 else 1.0
    model = quantities(equations, stepped(case, 1.0))
    return [
        Figure(what=f"{name}, {case.minutes:g} min: {quantity}", expected=0.0, got=float(np.abs(x - y).max()),
               tolerance=share * limit, unit=UNITS[quantity])
        for (quantity, limit), x, y in zip(LIMITS.items(), model, exact, strict=False)
    ]  # fmt: skip


CHECKS = (
    Check(
        name="stiff integration", subject="whole chamber", sized=True,
        proves="heat, vapour, films, product, floor and equipment together follow their differential equations",
        formula="dy/dt = f(y), written apart from the model in plain numpy",
        source="library: scipy.integrate.solve_ivp, LSODA, rtol 1e-8",
        run=warm_up,
        plants=(
            Plant(what="vapour moves a third too slowly", changes={
                "kernel.surfaces.LEWIS_J_PER_KG_K": times(1.5), "kernel.product.LEWIS_J_PER_KG_K": times(1.5)}),
            Plant(what="a plume half as strong again", changes={"kernel.circulation.PLUME": times(1.5)}),
        ),
    ),
)  # fmt: skip
