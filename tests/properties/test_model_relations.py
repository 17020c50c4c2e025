"""What must hold between two runs of the chamber model: more insulation, fog, another time, another bay."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from runpy import run_path
from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.params import Coil, Envelope, PlantParams, Racks, Room
from plantsim.weather import Weather

_drawn = run_path(str(Path(__file__).with_name("drawn_plants.py")))
SOME, between, orders, made = _drawn["SOME"], _drawn["between"], _drawn["orders"], _drawn["made"]
drawn_params, small = _drawn["drawn_params"], _drawn["small"]
HOUR_S = 3600.0
DAY_H = 24


@SOME
@given(between(0.05, 1.5), between(1.1, 3.0), between(-20.0, 15.0))
def test_more_insulation_never_needs_more_heat(U: float, times: float, outdoor_degC: float) -> None:
    """Empty, vent shut, no leaks; a valve keeps 30 degC; the walls have long settled when heat is counted."""
    better, worse = (heat_kWh(value, outdoor_degC) for value in (U, U * times))
    assert 0.0 < better < worse


def heat_kWh(U_W_per_m2_K: float, outdoor_degC: float) -> float:
    """Heat that the valve gives in the last two of four hours."""
    params = PlantParams(
        room=Room(bays=2, levels=3, width_m=3.4, dry_air_kg=61.2, leak_kg_per_s=0.0),
        envelope=Envelope(U_W_per_m2_K=U_W_per_m2_K),
        racks=Racks(boards_kg=100.0, steel_kg=100.0),
    )
    params = replace(params, fan=replace(params.fan, full_kg_per_s=4.0, rated_kg_per_s=3.0, rated_kW=0.2))
    params = replace(params, heat=Coil(max_kW=20.0, stroke_s=5.0, lag_s=5.0))
    weather = Weather.constant(outdoor_degC, 80.0)
    model = Chamber(params, charge=Charge(tonnes=0.0, mix_degC=30.0), weather=weather, seed=1)
    model.start(30.0, 40.0)
    heated = []
    for _ in range(2):
        for _ in range(720):
            heat = min(max(10.0 * (30.1 - float(model.state.air[at.AIR_T].mean())), 0.0), 1.0)
            outputs = (1.0, 75.0, 1.0, 100.0 * heat, 0.0, 0.0, 0.0, 0.0)
            for _ in range(10):
                model.step(outputs)
        heated.append(model.books.heat_kWh)
    return heated[1] - heated[0]


@SOME
@given(
    st.integers(1, 3).flatmap(lambda bays: drawn_params(bays, 4)), orders, between(1.0, 100.0), between(5.0, 40.0),
    between(-20.0, 38.0), st.sampled_from([0.0, 1.0]), between(5.0, 35.0),
)  # fmt: skip
def test_fog_never_lowers_humidity_nor_the_water_in_the_air(
    params: PlantParams, outputs: tuple[float, ...], rh_pct: float, degC: float, outdoor: float, load: float, mix: float
) -> None:
    """Against the same chamber without fog, over ten minutes: of all air together, at every minute.

    As long as the air takes it up: where fog hangs without any spray, droplets only land, and cold ones make surfaces
    draw vapour out of the air.
    """
    charge = Charge(tonnes=load * params.product.nominal_t, mix_degC=mix)
    twins = [made(params, charge=charge, weather=Weather.constant(outdoor, 80.0)) for _ in range(2)]
    for model in twins:
        model.start(degC, rh_pct)
    for _ in range(10):
        for model, fog in zip(twins, (0.0, 1.0), strict=True):
            for _ in range(60):
                model.step((*outputs[:5], fog, fog, *outputs[7:-1], 100.0 * fog))
        without, foggy = (model.state.air for model in twins)
        if without[at.AIR_RH].max() >= 1.0:
            break
        water = [float(air[at.AIR_WATER].sum()) for air in (without, foggy)]
        assert water[1] >= water[0] * (1.0 - 1e-9)
        assert foggy[at.AIR_RH].mean() >= without[at.AIR_RH].mean() - 1e-9


@SOME
@given(
    st.integers(1, 2).flatmap(lambda bays: drawn_params(bays, 3)), orders, st.integers(1, 400),
    st.lists(st.tuples(between(-20.0, 38.0), between(5.0, 100.0)), min_size=1, max_size=DAY_H),
)  # fmt: skip
def test_the_same_some_days_later_is_the_same(
    params: PlantParams, outputs: tuple[float, ...], days: int, hours: list[tuple[float, float]]
) -> None:
    """Time counts through the weather and nothing else: no step number leaks into the physics. Bit for bit."""
    weather = Weather([T for T, _ in hours], [rh for _, rh in hours])
    states = []
    for later in (0, days * len(hours)):
        model = made(params, charge=Charge(tonnes=params.product.nominal_t, age_h=6.0), weather=weather)
        model._number = later * 3600
        for _ in range(1800):
            model.step(outputs)
        states.append(model._state.copy())
    assert np.array_equal(states[0], states[1], equal_nan=True)


def lived(
    params: PlantParams, outputs: tuple[float, ...], empty: int, open_: int, degC: float, *, seconds: int = 1800
) -> Any:
    """Some time with one bay empty and the door of one open."""
    charge = Charge(tonnes=params.product.nominal_t, mix_degC=degC, empty_bays=(empty,))
    model = made(params, charge=charge, weather=Weather.constant(5.0, 80.0))
    model.set_door(open_, True)
    for _ in range(seconds):
        model.step(outputs)
    return model.state


def by_bay(table: Any, bays: int) -> Any:
    """Rows of cells as (rows, bays, levels)."""
    return np.asarray(table).reshape(len(table), bays, -1)


@SOME
@given(drawn_params(2, 4), orders, st.sampled_from([1, 2]), between(5.0, 40.0))
def test_two_bays_may_change_places(params: PlantParams, outputs: tuple[float, ...], door: int, degC: float) -> None:
    """Two bays are alike: what happens to the one would happen to the other. Bit for bit, with the air going down:
    the other ways add up the return of more than two cells, which rounds by their order.
    """
    params = replace(params, fan=replace(params.fan, pattern="down"))
    here, there = lived(params, outputs, 1, door, degC), lived(params, outputs, 2, 3 - door, degC)
    for name in ("air", "product", "board"):
        one, other = (by_bay(getattr(state, name), 2) for state in (here, there))
        assert np.array_equal(one[:, 0], other[:, 1], equal_nan=True), name
        assert np.array_equal(one[:, 1], other[:, 0], equal_nan=True), name
    assert np.array_equal(here.floor, there.floor[:, ::-1])


@SOME
@given(drawn_params(5, 3), orders, st.permutations([2, 3, 4]), between(5.0, 40.0))
def test_bays_between_the_ends_may_change_places(
    params: PlantParams, outputs: tuple[float, ...], order: list[int], degC: float
) -> None:
    """Without exchange between neighbours the bays inside are alike. Sums over bays round in another order, and
    overturning air makes more of that with every step: so only for two minutes, and with the limiter, which trips in
    one step or in the next, out of reach.
    """
    params = replace(params, air=replace(params.air, side_exchange_kg_per_s=0.0, side_jet_exchange=0.0))
    params = replace(params, limiter=replace(params.limiter, trip_degC=120.0))
    here = lived(params, outputs, 2, 3, degC, seconds=120)
    there = lived(params, outputs, order[0], order[1], degC, seconds=120)
    moved = [0, *(bay - 1 for bay in order), 4]
    for name in ("air", "product", "board"):
        one, other = (by_bay(getattr(state, name), 5) for state in (here, there))
        scale = np.abs(one).max(axis=(1, 2))[:, None, None] + 1e-6
        assert (np.abs(one - other[:, moved]) <= 1e-6 * scale).all(), name
