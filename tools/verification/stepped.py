"""The same run of a small chamber both ways: by the model's own steps, and by an outside solver on `equations`.

A small chamber, few levels: the equations of a cell, of a surface and of a neighbour are the same for any size.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.kernel.moistair import flash
from plantsim.params import Coil, Envelope, Fan, Fog, PlantParams, Product, Racks, Room, Vent
from plantsim.weather import Weather
from verification.equations import AGE_H, CELL_ROWS, Case, Equations, Vector

# Largest error allowed per second of step: twice what was found for each at 1 s. Films and water per cell.
LIMITS = {"air_K": 0.11, "W": 7e-5, "skin_K": 0.03, "board_K": 0.055, "wall_K": 0.11, "films_kg": 0.01, "frame_K": 0.06}

DRY = Case(outputs=(1, 50, 1, 70, 0, 0, 0, 1), outdoor=(8.0, 80.0))
# Moist summer air through the vent of a cold wet chamber, and spray: all surfaces condense, the air is full of fog.
WET = Case(outputs=(1, 50, 1, 30, 100, 1, 0, 1), outdoor=(34.0, 95.0), mix_degC=18.0, rh_pct=99.0, film_kg_per_m2=0.2)
STILL = Case(outputs=(0, 0, 1, 60, 0, 0, 0, 0), outdoor=(-5.0, 80.0), bays=1, levels=4)


def params_of(case: Case) -> PlantParams:
    """A chamber of a few positions, equipment scaled with it. No surface sheds water: dripping is an event."""
    n = case.bays * case.levels
    tonnes = 120.0 / 72.0 * n
    room = Room(bays=case.bays, levels=case.levels, width_m=1.7 * case.bays, dry_air_kg=10.2 * n, leak_kg_per_s=0.004)
    return PlantParams(
        room=replace(room, height_m=0.46 * case.levels),
        envelope=Envelope(film_hold_kg_per_m2=9.0),
        racks=Racks(boards_kg=24600.0 / 72 * n, steel_kg=15000.0 / 72 * n, film_hold_kg_per_m2=9.0),
        product=Product(nominal_t=tonnes, film_hold_kg_per_m2=9.0),
        fan=Fan(full_kg_per_s=2.0 * case.bays, rated_kg_per_s=1.5 * case.bays, rated_kW=0.6 * case.bays),
        heat=Coil(max_kW=5.0 * case.bays, UA_kW_per_K=0.14 * case.bays),
        vent=Vent(max_kg_per_s=0.1 * case.bays),
        fog=Fog(bank_a_kg_per_h=3.0, bank_b_kg_per_h=5.0),
    )


def stepped(case: Case, dt_s: float) -> Vector:
    """The model's own state after the same run, in the order of Equations."""
    chamber = begun(case, dt_s)
    for _ in range(round(case.minutes * 60 / dt_s)):
        chamber.step(case.outputs)
    return state_of(chamber)


def begun(case: Case, dt_s: float) -> Chamber:
    """The chamber of a case before its first step."""
    params = params_of(case)
    charge = Charge(tonnes=params.product.nominal_t, mix_degC=case.mix_degC, age_h=AGE_H)
    chamber = Chamber(params, charge=charge, weather=Weather.constant(*case.outdoor), seed=1, dt_s=dt_s)
    chamber.start(case.mix_degC, case.rh_pct)
    v, c = chamber.state, chamber.constants
    v.product[at.P_FILM] = case.film_kg_per_m2 * c.cell[at.C_PRODUCT_M2]
    v.board[at.S_FILM] = case.film_kg_per_m2 * c.cell[at.C_BOARD_M2]
    v.wall[at.S_FILM] = case.film_kg_per_m2 * c.wall[at.L_M2]
    return chamber


def state_of(chamber: Chamber) -> Vector:
    """The model's state in the order of Equations."""
    v, n = chamber.state, chamber.state.air.shape[1]
    cells = np.array([
        v.air[at.AIR_H], v.air[at.AIR_WATER], v.product[at.P_SKIN], v.product[at.P_CORE], v.product[at.P_FILM],
        v.product[at.P_INNER], v.board[at.S_T], v.board[at.S_FILM], v.wall[at.S_T, :n], v.wall[at.S_FILM, :n],
        v.product[at.P_AGE_h],
    ])  # fmt: skip
    frames = v.wall[:, n:]
    rest = [frames[at.S_T], frames[at.S_FILM], v.floor.ravel(), [v.gear[at.G_COIL_W]]]
    return np.concatenate([cells.ravel(), *rest])


def quantities(e: Equations, y: Vector) -> list[Vector]:
    """What is compared, in the order of LIMITS; the fog last."""
    cells = y[: CELL_ROWS * e.n].reshape(CELL_ROWS, e.n)
    states = [flash(h / e.M, w / e.M, e.p.room.pressure_Pa) for h, w in cells[:2].T]
    T, W, fog = (np.array(row) for row in zip(*states, strict=True))
    return [T, W, cells[2], cells[6], cells[8], cells[[4, 5, 7, 9]], y[CELL_ROWS * e.n :][: e.b], fog]
