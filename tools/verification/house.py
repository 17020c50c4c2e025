"""An experimental house over 41 days: how warm air lies in a heated room, and how the room answers to its heater.

Layers are the chamber model's own, a chamber of the room's size without fan and with a small electric heater: its
warm column and its damped mixing are not tuned to this house. The answer over time is that of two nodes (air, and
everything heavy) with the same exact pairwise exchange as the model's; its numbers are fitted to the first weeks.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.params import Air, Electric, Envelope, Fan, Floor, Frames, PlantParams, Racks, Room, Start
from plantsim.weather import Weather
from verification.measured import Pair, Validation, Vector, errors

NAME = "a heated room: layers and answer to its heater"
STEP_H = 1.0 / 6.0
LIVING, HEAT, SUPPLY, FLOW, OUTDOOR, SUN = (4, 5, 6), 19, 28, 30, 35, 41
NEIGHBOURS = (7, 8, 9)
FIT_DAYS = 9.0, 24.0
HEIGHTS_m = 0.67, 1.87
ROOM_m = 5.8, 5.8, 2.5  # of the living room; assumed, its plan was not at hand
LEVELS = 10
AIR_J_PER_M3_K = 1206.0


def compared(data: Path) -> Validation:
    """Layers in two steady spells, answer over the last seventeen days. FileNotFoundError without the series."""
    table = np.loadtxt(data / "twin-house" / "validationdataN2Exp1.txt", skiprows=2)
    days = (table[:, 0] - table[0, 0]) / 86_400.0
    living = table[:, LIVING].mean(axis=1)
    late = days >= FIT_DAYS[1]
    values, T = answered(table, days, living)
    flat = np.full(int(late.sum()), float(living[late][0]))
    measures = (
        errors(f"room air, days {FIT_DAYS[0]:g} to {FIT_DAYS[1]:g}", "K", *_within(days, FIT_DAYS, T, living),
               predicted=False),
        errors(f"room air, day {FIT_DAYS[1]:g} to the end", "K", T[late], living[late], predicted=True),
        errors("the same if nothing changed any more", "K", flat, living[late], predicted=True),
    )  # fmt: skip
    pairs = tuple(_layers(table, days, *spell) for spell in ((1.0, 9.0), (25.5, 30.0)))
    return Validation(
        name=NAME, state="compared", measures=measures, pairs=pairs,
        verdict=f"Seventeen days that were not fitted are met within {measures[1].rmse:.2f} K (root mean square). "
        f"Layers in the heated room: {pairs[0].model:.2f} K/m against {pairs[0].measured:.2f} measured, "
        f"{pairs[1].model:.2f} against {pairs[1].measured:.2f}: nothing of the layers was fitted, and the model has "
        "no supply air, open doorways or radiation between floor and ceiling, which even a room out. Dry rooms of a "
        "house: it checks heat, not moisture.",
        data="Holzkirchen twin house N2, experiment 1, every ten minutes",
        licence="distributed with an open model library (BSD-3); local use, not part of this project",
        method="layers: chamber model with one bay, heater and outdoor air of the spell, three days to rest; "
        "answer: two nodes, heater, neighbouring rooms, supply air, outdoor air and sun as measured",
        fitted="answer: heavy mass {:.1f} MJ/K, air with furniture {:.2f} MJ/K, to outdoors {:.0f} W/K, to neighbours "
        "{:.0f} W/K, air to mass {:.0f} W/K, sun {:.2f} m2; layers: only the loss that gives the measured mean"
        .format(*values[:2] * 1e-6, *values[2:]),
    )  # fmt: skip


def answered(table: Vector, days: Vector, living: Vector) -> tuple[Vector, Vector]:
    """(fitted values, room temperature over the whole time) of the two-node room."""
    heat, sun = table[:, HEAT], table[:, SUN]
    supply, outdoor = table[:, SUPPLY], table[:, OUTDOOR]
    beside = table[:, NEIGHBOURS].mean(axis=1)
    blown = table[:, FLOW] / 3600.0 * AIR_J_PER_M3_K

    def run(values: Vector) -> Vector:
        return two_nodes(values, heat, sun, outdoor, beside, supply, blown, float(living[0]))

    inside = (days >= FIT_DAYS[0]) & (days < FIT_DAYS[1])
    start = np.log([2e7, 3e5, 15.0, 50.0, 100.0, 0.5])
    found = least_squares(lambda logs: (run(np.exp(logs)) - living)[inside], start, x_scale=0.5, max_nfev=40)
    values = np.exp(found.x)
    return values, run(values)


def two_nodes(
    values: Vector, heat_W: Vector, sun_W_per_m2: Vector, outdoor: Vector, beside: Vector, supply: Vector,
    blown_W_per_K: Vector, first_degC: float,
) -> Vector:
    """Temperature of the air node every STEP_H. values: J/K of mass and air; W/K outdoors, beside, to mass; m2."""
    C_mass, C_air, out, near, inner, glass = (float(value) for value in values)
    dt = STEP_H * 3600.0
    swap = C_air * C_mass / (C_air + C_mass) * (1.0 - np.exp(-inner * dt * (1.0 / C_air + 1.0 / C_mass)))
    air, mass = first_degC, first_degC
    found = np.empty_like(outdoor)
    for i in range(outdoor.size):
        held = near + float(blown_W_per_K[i])
        gains = near * float(beside[i]) + float(blown_W_per_K[i]) * float(supply[i]) + float(heat_W[i])
        air += (gains / held - air) * (1.0 - np.exp(-held * dt / C_air))
        lost = 1.0 - np.exp(-out * dt / C_mass)
        mass += (float(outdoor[i]) - mass) * lost + glass * float(sun_W_per_m2[i]) * dt / C_mass
        moved = swap * (mass - air)
        air, mass = air + moved / C_air, mass - moved / C_mass
        found[i] = air
    return found


def _layers(table: Vector, days: Vector, begin: float, end: float) -> Pair:
    inside = (days >= begin) & (days < end)
    mean = table[inside].mean(axis=0)
    room_T = float(mean[list(LIVING)].mean())
    measured = (mean[LIVING[2]] - mean[LIVING[0]]) / (HEIGHTS_m[1] - HEIGHTS_m[0])
    model = gradient(float(mean[HEAT]), room_T, float(mean[OUTDOOR]))
    return Pair(what=f"temperature over height, days {begin:g} to {end:g}, {mean[HEAT]:.0f} W", unit="K/m",
                measured=float(measured), model=model)  # fmt: skip


def gradient(heat_W: float, room_degC: float, outdoor_degC: float) -> float:
    """K/m between the two heights in a room of the chamber model at rest, its loss such that the mean is room_degC."""
    width, depth, high = ROOM_m
    area = 2.0 * high * (width + depth) + width * depth
    U = heat_W / (room_degC - outdoor_degC) / area
    params = PlantParams(
        room=Room(bays=1, levels=LEVELS, width_m=width, depth_m=depth, height_m=high, leak_kg_per_s=0.0,
                  dry_air_kg=1.2 * width * depth * high),
        heat=Electric(stage_kW=(heat_W * 1e-3,)),
        fan=Fan(rated_kW=0.001), air=Air(), frames=Frames(area_m2=0.01, heating_W=0.0),
        envelope=Envelope(U_W_per_m2_K=min(U, 4.0)), floor=Floor(U_W_per_m2_K=0.05, ground_degC=room_degC),
        racks=Racks(steel_kg=50.0, steel_m2_per_position=0.5), start=Start(rh_pct=35.0),
    )  # fmt: skip
    charge = Charge(tonnes=0.0, mix_degC=room_degC)
    room = Chamber(params, charge=charge, weather=Weather.constant(outdoor_degC, 60.0), seed=1, dt_s=1.0)
    outputs = [0.0] * 13
    outputs[2], outputs[3], outputs[8] = 1.0, 100.0, 1.0
    for _ in range(24 * 3600):
        room.step(outputs)
    T = room.state.air[at.AIR_T]
    middle = (np.arange(LEVELS) + 0.5) * high / LEVELS
    low, top = np.interp(HEIGHTS_m, middle, T)
    return float((top - low) / (HEIGHTS_m[1] - HEIGHTS_m[0]))


def _within(days: Vector, span: tuple[float, float], *series: Vector) -> list[Vector]:
    inside = (days >= span[0]) & (days < span[1])
    return [one[inside] for one in series]
