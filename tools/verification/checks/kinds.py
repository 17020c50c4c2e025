"""Kinds of heater, and charges: steam's water and heat, hot metal, the burner's times, boards that come and go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import exp
from typing import Any

from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.filling import Batch
from plantsim.kernel import layout as at
from plantsim.params import Electric, Floor, Gas, PlantParams, Steam, SteamFog
from verification.check import Check, Effort, Figure, Plant, after
from verification.rooms import chamber, live, only_air
from verification.stored import energy_J, water_kg

JOULE_PER_KWH = 3.6e6
FAN = (1.0, 75.0)
REST = (0.0, 0.0, 0.0, 0.0)  # vent, fog banks, frame heating


def steam(_: Effort) -> Sequence[Figure]:
    """80 kg/h into air that nothing else touches, ten minutes: water and heat that the air then has more."""
    heat = Steam(max_kg_per_h=80.0, stroke_s=0.1, lag_s=1e-3)
    model = chamber(replace(only_air(cell_kg=4000.0), heat=heat, floor=Floor(ground_degC=20.0)))
    live(model, 5.0, (*FAN, *REST, 0.0, 0.0))
    energy, water, fan = energy_J(model), water_kg(model), model.books.fan_kWh
    live(model, 600.0, (*FAN, 1.0, 100.0, *REST))
    kg = water_kg(model) - water
    per_kg = (energy_J(model) - energy - (model.books.fan_kWh - fan) * JOULE_PER_KWH) / kg
    return (
        Figure(what="water in 10 min", expected=80.0 / 6.0, got=kg, tolerance=1e-6, relative=True, unit="kg"),
        Figure(what="heat with it, saturated at 100 degC", expected=2675.5, got=per_kg / 1e3, tolerance=0.1,
               unit="kJ/kg"),
        Figure(what="1 kg/h", expected=0.743, got=per_kg / JOULE_PER_KWH, tolerance=5e-4, unit="kW"),
    )  # fmt: skip


def elements(_: Effort) -> Sequence[Figure]:
    """10 kW into hot metal in much air: its heat comes with one time constant, and stays when power goes."""
    fan = replace(PlantParams().fan, rated_kg_per_s=9.0, rated_kW=1e-9, lag_s=1e-6)
    params = replace(only_air(cell_kg=1e6), heat=Electric(stage_kW=(10.0,), lag_s=60.0), fan=fan)
    model = chamber(params)
    on = (*FAN, 1.0, 0.0, *REST, 1.0, 0.0, 0.0, 0.0, 0.0)
    live(model, 60.0, on)
    # a step's heat is its mean: the exponential of its middle, over a step of 1 s by 1/6 tau^2 in relative size
    rise = float(model.state.gear[at.G_COIL_W]) / 1e3
    live(model, 1200.0, on)
    steady = float(model.state.gear[at.G_COIL_W]) / 1e3
    hot = float(model.state.gear[at.G_ELEMENT_T]) - float(model.state.gear[at.G_RETURN_T])
    live(model, 60.0, (*FAN, *REST, 0.0, 0.0))
    fall = float(model.state.gear[at.G_COIL_W]) / 1e3
    mean = 60.0 * (1.0 - exp(-1.0 / 60.0)) * exp(-59.0 / 60.0)
    return (
        Figure(what="after 60 s", expected=10.0 * (1.0 - mean), got=rise, tolerance=1e-4, relative=True, unit="kW"),
        Figure(what="in the end", expected=10.0, got=steady, tolerance=1e-6, relative=True, unit="kW"),
        Figure(what="elements over the air", expected=250.0, got=hot, tolerance=1e-4, relative=True, unit="K"),
        Figure(what="60 s after power went", expected=10.0 * mean, got=fall, tolerance=1e-4, relative=True, unit="kW"),
    )  # fmt: skip


def burner(_: Effort) -> Sequence[Figure]:
    """Asked for a tenth of full fire: purge, never below minimum fire, and on for its least time when asked to stop."""
    model = chamber(replace(only_air(cell_kg=1e6), heat=Gas()))
    ask, stop = (*FAN, 1.0, 10.0, *REST), (*FAN, 0.0, 0.0, *REST)
    live(model, 200.0, stop)
    purge = waited(model, ask, burning=True)
    fire = float(model.state.gear[at.G_INPUT_W]) / 1e3
    burnt = waited(model, stop, burning=False)
    rest = waited(model, ask, burning=True)
    return (
        Figure(what="purge", expected=30.0, got=purge, tolerance=3.0, unit="s"),
        Figure(what="gas at minimum fire, 0.3 of 60 kW over 0.9", expected=20.0, got=fire, tolerance=1e-9, unit="kW"),
        Figure(what="least time on", expected=120.0, got=burnt, tolerance=2.0, unit="s"),
        Figure(what="least rest and purge", expected=150.0, got=rest, tolerance=3.0, unit="s"),
    )


def waited(model: Chamber, outputs: tuple[float, ...], *, burning: bool) -> float:
    """Seconds until the burner burns, or does not any more; at most 10 minutes."""
    begin = model.time_s
    while model.time_s - begin < 600.0:
        model.step(outputs)
        if (float(model.state.gear[at.G_INPUT_W]) > 0.0) is burning:
            break
    return model.time_s - begin


def traffic(effort: Effort) -> Sequence[Figure]:
    """Boards come and go by the door while steam heats and moistens; what they hold is booked with them."""
    params = replace(PlantParams(), heat=Steam(), fog=SteamFog())
    model = chamber(params, charge=Charge(mix_degC=25.0), outdoor=(-5.0, 80.0))
    energy, water = energy_J(model), water_kg(model)
    # in plain Python a step of the whole chamber takes some milliseconds
    turn_s, turns = (5.0, 3) if effort is Effort.PLANTED else (600.0, 24)
    for turn in range(turns):
        bay, level = turn % 6 + 1, turn % 12 + 1
        model.set_door(bay, open_=True)
        live(model, turn_s, (*FAN, 1.0, 80.0, 20.0, 1.0, 0.0, 1.0))
        model.take(bay, level)
        live(model, turn_s, (*FAN, 1.0, 80.0, 20.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 60.0))
        model.place(bay, level, Batch(tonnes=1.2, degC=14.0))
        model.set_door(bay, open_=False)
    b = model.books
    names = ("heat", "steam", "fan", "frame_heat", "hydration", "fog_water", "makeup", "exhaust", "leak", "doors",
             "envelope", "floor", "drain", "charges_in", "charges_out")  # fmt: skip
    into = sum(getattr(b, f"{name}_kWh") for name in names) * JOULE_PER_KWH
    wet = b.fog_kg + b.steam_kg + b.makeup_kg + b.exhaust_kg + b.leak_kg + b.doors_kg + b.drain_kg
    wet += b.charges_in_kg + b.charges_out_kg
    energy_rest = (energy_J(model) - energy - into) / (b.energy_throughput_kWh * JOULE_PER_KWH)
    water_rest = (water_kg(model) - water - wet) / b.water_throughput_kg
    found = [
        Figure(what="energy, rest over throughput", expected=0.0, got=energy_rest, tolerance=1e-9),
        Figure(what="water, rest over throughput", expected=0.0, got=water_rest, tolerance=1e-9),
    ]
    if effort is not Effort.PLANTED:
        moved = (("steam", b.steam_kg), ("charges out", -b.charges_out_kg), ("charges in", b.charges_in_kg))
        found += [Figure(what=f"kg as {name}, more than 1", expected=1.0, got=float(kg > 1.0), tolerance=0.0)
                  for name, kg in moved]  # fmt: skip
    return found


def _dry_steam(gear: Any, books: Any) -> None:
    books[at.B_STEAM] -= 1e-5 * gear[at.G_STEAM_KG]


def _heavy_board(cell: Any, p: Any, cells: Any, *rest: Any) -> None:
    cell[at.C_BOARD_J, cells] *= 1.001


def _light_metal(k: Any, *rest: Any) -> None:
    k[at.K_ELEMENT_J_K] *= 0.5


CHECKS = (
    Check(
        name="live steam", subject="equipment",
        proves="steam brings its mass and its enthalpy into the air, all of both",
        formula="dH = m 2675.5 kJ/kg; 1 kg/h = 0.743 kW",
        source="IAPWS IF97, saturated steam at 100 degC", run=steam,
        plants=(Plant(what="steam with the latent heat only, 2257 kJ/kg", compiled=True, changes={
            "pack.heat.pack_heat": after(lambda k, p, dt: k.__setitem__(at.K_STEAM_J, 2257e3))}),),
    ),
    Check(
        name="electric elements", subject="equipment",
        proves="elements keep their heat: it comes and goes with one time constant, and none is lost",
        formula="Q ~ 1 - exp(-t / tau), as the mean of each step; dT = P / UA", source="recomputed: closed form",
        run=elements,
        plants=(Plant(what="half the metal", compiled=True, changes={
            "pack.heat._hot_metal": after(_light_metal)}),),
    ),
    Check(
        name="gas burner", subject="equipment",
        proves="a burner purges, burns no less than its minimum fire, keeps its least times on and off",
        formula="P = max(asked, 0.3) 60 kW / 0.9", source="recomputed: from the parameters",
        run=burner,
        plants=(Plant(what="no minimum fire", compiled=True, changes={
            "pack.heat.pack_heat": after(lambda k, p, dt: k.__setitem__(at.K_FIRE_MIN, 0.1))}),),
    ),
    Check(
        name="books with steam and charges", subject="whole chamber", sized=True,
        proves="books close too when boards come and go, doors open and steam heats and moistens",
        formula="stored now - stored at the start - in + out = 0, over what went through",
        source="recomputed: stores by definition from temperatures, moisture and films", run=traffic,
        plants=(
            Plant(what="a hundred-thousandth of the steam not booked",
                  changes={"kernel.steam.book_steam": after(_dry_steam)}),
            Plant(what="boards that arrive 0.1 % heavier than booked", compiled=True,
                  changes={"pack.product.load_cells": after(_heavy_board)}),
        ),
    ),
)  # fmt: skip
