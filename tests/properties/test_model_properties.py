"""What must hold for the chamber model whatever its parameters and outputs are, as long as they are in their bounds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.params import Coil, Envelope, Fog, PlantParams, Product, Racks, Room
from plantsim.weather import Weather

FEW = settings(derandomize=True, max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])
MANY = settings(FEW, max_examples=300)


Act = tuple[tuple[float, ...], bool, int]  # outputs, door 1 open, seconds


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


@st.composite
def chambers(draw: st.DrawFn) -> Chamber:
    """Any size from 1 x 2 cells up, any concrete, any weather, any step the model allows."""
    bays, levels = draw(st.integers(1, 4)), draw(st.integers(2, 8))
    params = PlantParams(
        room=Room(
            bays=bays, levels=levels, dry_air_kg=10.2 * bays * levels, leak_kg_per_s=draw(between(0.0, 0.2))
        ),
        envelope=Envelope(U_W_per_m2_K=draw(between(0.05, 2.0)), film_hold_kg_per_m2=draw(between(0.001, 0.2))),
        product=Product(
            water_activity=draw(between(0.3, 1.0)),
            wetted_fraction=draw(between(0.0, 1.0)),
            absorb_s=draw(between(60.0, 1e5)),
            film_hold_kg_per_m2=draw(between(0.01, 1.0)),
        ),
        racks=Racks(boards_kg=draw(between(100.0, 24600.0))),
        fog=Fog(droplet_um=draw(between(5.0, 100.0)), bank_b_kg_per_h=draw(between(0.0, 120.0))),
    )
    # the fan's flow is meant for 6 bays: no more than that through each
    params = replace(params, fan=replace(params.fan, full_kg_per_s=2.0 * bays, rated_kg_per_s=1.5 * bays))
    charge = Charge(
        tonnes=draw(st.sampled_from([0.0, 120.0 * bays * levels / 72.0])),
        mix_degC=draw(between(5.0, 40.0)),
        age_h=draw(between(0.0, 40.0)),
        empty_bays=(1,) if bays > 1 and draw(st.booleans()) else (),
    )
    weather = Weather.constant(draw(between(-20.0, 38.0)), draw(between(5.0, 100.0)))
    model = Chamber(params, charge=charge, weather=weather, seed=1, dt_s=draw(st.sampled_from([0.5, 1.0, 2.0])))
    model.start(draw(between(5.0, 45.0)), draw(between(1.0, 100.0)))
    return model


percent = between(0.0, 100.0)
switch = st.sampled_from([0.0, 1.0])
orders = st.tuples(switch, percent, switch, percent, percent, switch, switch, switch)
acts = st.lists(st.tuples(orders, st.booleans(), st.integers(60, 900)), min_size=1, max_size=5)


def check_bounds(model: Chamber, played: list[Act]) -> None:
    """Live through the acts and look at everything after each."""
    for outputs, door, seconds in played:
        model.set_door(1, door)
        for _ in range(round(seconds / model.dt_s)):
            model.step(outputs)
        v, books = model.state, model.books
        for table in (v.air, v.product, v.board, v.wall, v.floor, v.gear, v.books, v.truth):
            assert np.isfinite(table).all()
        assert v.air[at.AIR_RH].max() <= 1.0 + 1e-9
        assert min(v.air[at.AIR_W].min(), v.air[at.AIR_FOG].min()) >= 0.0
        for water in (v.product[at.P_FILM], v.product[at.P_INNER], v.board[at.S_FILM], v.wall[at.S_FILM]):
            assert water.min() >= 0.0
        assert v.air[at.AIR_T].min() > -40.0
        assert v.air[at.AIR_T].max() < 75.0, "never warmer than the water in the coil, with the fan's heat"
        if min(books.energy_throughput_kWh, books.water_throughput_kg) > 0.1:
            assert abs(books.energy_closure) <= 1e-9
            assert abs(books.water_closure) <= 1e-9


@FEW
@given(chambers(), acts)
def test_states_stay_in_bounds_and_books_close(model: Chamber, played: list[Act]) -> None:
    check_bounds(model, played)


@pytest.mark.slow
@MANY
@given(chambers(), acts)
def test_states_stay_in_bounds_for_many(model: Chamber, played: list[Act]) -> None:
    check_bounds(model, played)


@FEW
@given(orders, between(-10.0, 30.0))
def test_the_same_a_week_later_is_the_same(outputs: tuple[float, ...], outdoor_degC: float) -> None:
    """Time counts through the weather and nothing else: no step number leaks into the physics. Bit for bit."""
    weather = Weather.constant(outdoor_degC, 80.0)
    states = []
    for days in (0, 7):
        model = Chamber(PlantParams(), charge=Charge(age_h=6.0), weather=weather, seed=1)
        model._number = days * 86_400
        for _ in range(1800):
            model.step(outputs)
        states.append(model._state.copy())
    assert np.array_equal(states[0], states[1], equal_nan=True)


@FEW
@given(between(0.05, 1.5), between(1.1, 3.0), between(-20.0, 15.0))
def test_more_insulation_never_needs_more_heat(U: float, times: float, outdoor_degC: float) -> None:
    """Empty, vent shut, no leaks; a thermostat keeps 30 degC; the walls have long settled when heat is counted."""
    better, worse = (heat_kWh(value, outdoor_degC) for value in (U, U * times))
    assert 0.0 < better < worse


def heat_kWh(U_W_per_m2_K: float, outdoor_degC: float) -> float:
    """Heat that a thermostat asks for in the last two of four hours."""
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
            heat = float(model.state.air[at.AIR_T].mean() < 30.0)
            outputs = (1.0, 75.0, heat, 100.0 * heat, 0.0, 0.0, 0.0, 0.0)
            for _ in range(10):
                model.step(outputs)
        heated.append(model.books.heat_kWh)
    return heated[1] - heated[0]
