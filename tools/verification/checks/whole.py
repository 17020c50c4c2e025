"""The chamber model as a whole: its books over a day, symmetry, and the order of its steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.params import Coil, PlantParams, Room
from verification.check import Check, Effort, Figure, Plant, after, instead
from verification.rooms import chamber, live
from verification.stored import energy_J, water_kg

JOULE_PER_KWH = 3.6e6


def books(effort: Effort) -> Sequence[Figure]:
    """Driven outputs over a day: heat, fog, vent, a door, stops of the fan. Stores are recomputed, flows are booked."""
    model = small(2, 3) if effort is Effort.PLANTED else chamber(PlantParams(), charge=Charge(), outdoor=(8.0, 80.0))
    energy, water = energy_J(model), water_kg(model)
    busy_day(model, hour_s=60.0 if effort is Effort.PLANTED else 3600.0)
    b = model.books
    into = (
        b.heat_kWh + b.fan_kWh + b.frame_heat_kWh + b.hydration_kWh + b.fog_water_kWh + b.makeup_kWh + b.exhaust_kWh
        + b.leak_kWh + b.doors_kWh + b.envelope_kWh + b.floor_kWh + b.drain_kWh
    ) * JOULE_PER_KWH + extra(b, "kWh") * JOULE_PER_KWH  # fmt: skip
    wet = b.fog_kg + b.makeup_kg + b.exhaust_kg + b.leak_kg + b.doors_kg + b.drain_kg + extra(b, "kg")
    energy_rest = (energy_J(model) - energy - into) / (b.energy_throughput_kWh * JOULE_PER_KWH)
    water_rest = (water_kg(model) - water - wet) / b.water_throughput_kg
    found = [
        Figure(what="energy, rest over throughput", expected=0.0, got=energy_rest, tolerance=1e-9),
        Figure(what="water, rest over throughput", expected=0.0, got=water_rest, tolerance=1e-9),
        Figure(what="energy, as the model closes it", expected=0.0, got=b.energy_closure, tolerance=1e-9),
        Figure(what="water, as the model closes it", expected=0.0, got=b.water_closure, tolerance=1e-9),
    ]
    if effort is not Effort.PLANTED:
        # not calm: what is booked has run through doors, fog, drains and vent
        moved = (("doors", abs(b.doors_kg)), ("fog", b.fog_kg), ("drain", abs(b.drain_kg)), ("vent", -b.exhaust_kg))
        found += [Figure(what=f"kg through {name}, more than 1", expected=1.0, got=float(kg > 1.0), tolerance=0.0)
                  for name, kg in moved]  # fmt: skip
    return found


def extra(books: Any, unit: str) -> float:
    """Accounts that came later: steam, and charges placed and taken."""
    return float(sum(getattr(books, f"{name}_{unit}", 0.0) for name in ("steam", "charges_in", "charges_out")))


def busy_day(model: Chamber, hour_s: float) -> None:
    """24 turns of everything. Room and weather are cold enough, and the spray wet enough, that water runs off."""
    for hour in range(24):
        fan = 0.0 if hour % 8 == 7 else 1.0
        valve, vent = 70.0 if hour % 3 else 0.0, 60.0 * (hour % 2)
        model.set_door(2, open_=hour % 6 == 5)
        live(model, hour_s, (fan, 75.0, 1.0, valve, vent, 1.0, float(hour % 2), 1.0))


def small(bays: int, levels: int, outdoor: tuple[float, float] = (8.0, 80.0), dt_s: float = 1.0) -> Chamber:
    """A chamber of a few positions with equipment to its size."""
    n = bays * levels
    tonnes = 120.0 / 72.0 * n
    p = PlantParams()
    params = replace(
        p,
        room=Room(bays=bays, levels=levels, width_m=1.7 * bays, height_m=0.46 * levels, dry_air_kg=10.2 * n),
        racks=replace(p.racks, boards_kg=24600.0 / 72 * n, steel_kg=15000.0 / 72 * n),
        product=replace(p.product, nominal_t=tonnes),
        fan=replace(p.fan, full_kg_per_s=2.0 * bays, rated_kg_per_s=1.5 * bays, rated_kW=0.6 * bays),
        heat=Coil(max_kW=5.0 * bays, UA_kW_per_K=0.14 * bays),
    )
    return chamber(params, charge=Charge(tonnes=tonnes), outdoor=outdoor, dt_s=dt_s)


def alike(effort: Effort) -> Sequence[Figure]:
    """All bays get the walls of an inner one; three hours of heat and fog."""
    model = small(4, 3) if effort is Effort.PLANTED else chamber(PlantParams(), charge=Charge(), outdoor=(-5.0, 80.0))
    bays, levels = model.params.room.bays, model.params.room.levels
    walls = model.constants.wall[:, : bays * levels].reshape(-1, bays, levels)
    walls[:] = walls[:, 1:2, :]
    live(model, 60.0 if effort is Effort.PLANTED else 3 * 3600.0, (1.0, 50.0, 1.0, 60.0, 30.0, 1.0, 0.0, 1.0))
    v = model.state
    return [
        Figure(what=f"{name}: values not bit-equal to bay 1", expected=0.0, got=float(differing(row, bays, levels)),
               tolerance=0.0)
        for name, row in (("air", v.air[at.AIR_T]), ("moisture", v.air[at.AIR_WATER]), ("boards", v.board[at.S_T]),
                          ("core", v.product[at.P_CORE]))
    ]  # fmt: skip


def differing(row: Any, bays: int, levels: int) -> int:
    """How many values are not the first bay's."""
    by_bay = row.reshape(bays, levels)
    return int((by_bay != by_bay[0]).sum())


def mirrored(effort: Effort) -> Sequence[Figure]:
    """A door open at one end and a cold rack beside it; the same at the other end."""
    found = []
    for bays in (5,) if effort is Effort.PLANTED else (5, 6):
        ends = [one_end(bays, side, effort) for side in (1, bays)]
        gap = np.abs(ends[0] - ends[1][::-1]).max()
        what = f"{bays} bays, furthest from the mirror"
        found.append(Figure(what=what, expected=0.0, got=float(gap), tolerance=0.02, unit="K"))
    return found


def one_end(bays: int, side: int, effort: Effort) -> Any:
    """Air temperatures, bay by bay, after a door was open at this bay."""
    levels = 2 if effort is Effort.PLANTED else 12
    model = small(bays, levels, outdoor=(-5.0, 80.0))
    minutes = 1.0 if effort is Effort.PLANTED else 20.0
    outputs = (1.0, 50.0, 1.0, 60.0, 30.0, 1.0, 0.0, 1.0)
    model.set_door(side, open_=True)
    live(model, 60.0 * minutes, outputs)
    model.set_door(side, open_=False)
    live(model, 60.0 * minutes, outputs)
    return model.state.air[at.AIR_T].reshape(bays, levels).copy()


def order(effort: Effort) -> Sequence[Figure]:
    """Warm-up with the default chamber: distance of 1, 0.5 and 0.25 s from what the two finest steps point at."""
    hours = {Effort.PLANTED: 1.0 / 60.0, Effort.GATE: 0.25, Effort.FULL: 6.0}[effort]
    ends = []
    for dt in (1.0, 0.5, 0.25, 0.125):
        if effort is Effort.PLANTED:
            model = small(2, 3, dt_s=dt)
        else:
            model = chamber(PlantParams(), charge=Charge(), outdoor=(8.0, 80.0), dt_s=dt)
        live(model, 3600.0 * hours, (1.0, 75.0, 1.0, 100.0, 0.0, 0.0, 0.0, 1.0))
        ends.append(model.state.air[at.AIR_T].copy())
    limit = 2.0 * ends[3] - ends[2]
    errors = [float(np.abs(end - limit).max()) for end in ends[:3]]
    return (
        Figure(what=f"ratio of errors 1 s : 0.5 s after {hours:.3g} h (1.8 to 2.4)", expected=2.1,
               got=errors[0] / errors[1], tolerance=0.3),
        Figure(what="ratio of errors 0.5 s : 0.25 s (1.8 to 2.4)", expected=2.1, got=errors[1] / errors[2],
               tolerance=0.3),
        Figure(what="error at 1 s", expected=0.0, got=errors[0], tolerance=0.3, unit="K"),
    )  # fmt: skip


def _leaky(air: Any, i: int, j: int, part: float) -> None:
    for row in (at.AIR_H, at.AIR_WATER):
        moved = part * (air[row, i] - air[row, j])
        air[row, i] -= moved
        air[row, j] += moved * (1.0 - 1e-6)


CHECKS = (
    Check(
        name="books over a day", subject="whole chamber", sized=True,
        proves="no energy or water is lost or made in 24 h of heat, fog, vent, doors, drains, stops",
        formula="stored now - stored at the start - in + out = 0, over what went through",
        source="recomputed: stores by definition from temperatures, moisture and films, here and in the model's books",
        run=books,
        plants=(
            Plant(what="an exchange that loses a millionth", changes={"kernel.mixing.swap": instead(_leaky)}),
            Plant(what="drops that run off cold", changes={"kernel.surfaces.drip": after(
                lambda books, film, area, T, most: books.__setitem__(at.B_DRAIN_J, books[at.B_DRAIN_J] + 1.0))}),
        ),
    ),
    Check(
        name="bays alike stay alike", subject="whole chamber", sized=True,
        proves="no bay is favoured by the order of loops: alike to the last bit",
        formula="T(bay) = T(bay 1), bit for bit", source="recomputed: symmetry", run=alike,
        plants=(Plant(what="a share of the air larger by 1e-9", compiled=True, changes={
            "pack.ways.shares": lambda right: lambda p: right(p) * (1.0 + 1e-9 * (np.arange(p.room.bays) == 2))}),),
    ),
    Check(
        name="mirrored input, mirrored result", subject="whole chamber", sized=True,
        proves="left and right are the same, also with an odd number of bays",
        formula="T(bay i; door 1) = T(bay n+1-i; door n)", source="recomputed: symmetry", run=mirrored,
        plants=(Plant(what="a tenth more air for bay 1", compiled=True, changes={
            "pack.ways.shares": lambda right: lambda p: right(p) * (1.0 + 0.1 * (np.arange(p.room.bays) == 0))}),),
    ),
    Check(
        name="order of convergence", subject="whole chamber", sized=True,
        proves="the error of a step shrinks in proportion to the step, over a whole warm-up",
        formula="e(dt) / e(dt/2) -> 2", source="recomputed: Richardson's extrapolation of the two finest steps",
        run=order,
        plants=(Plant(what="lags that do not know the step", compiled=True,
                      changes={"pack.common.gain": lambda right: lambda lag, dt: right(lag, 1.0)}),),
    ),
)  # fmt: skip
