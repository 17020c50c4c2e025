"""The chamber model's kernel against solutions known in closed form. Conditions under which they hold stand beside.

Adiabatic saturation and excess water as fog are checked with the moist air itself.
"""

from __future__ import annotations

from dataclasses import replace
from math import exp

import numpy as np
import pytest

from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.kernel.drives import opened
from plantsim.kernel.jit import python_of
from plantsim.kernel.mixing import swap
from plantsim.kernel.moistair import dew_point, enthalpy, flash, humidity_ratio, psat
from plantsim.kernel.spray import evaporated_share
from plantsim.kernel.surfaces import LEWIS_J_PER_KG_K, vapour_to
from plantsim.params import Air, Envelope, Fan, Floor, Frames, PlantParams, Product, Racks, Room, Start
from plantsim.weather import Weather

Pa = 101325.0
IDLE = (0.0,) * 8
# A chamber in which only the envelope matters: nearly no floor, leak or product. One bay, two levels.
BARE = PlantParams(
    room=Room(bays=1, levels=2, leak_kg_per_s=0.0, dry_air_kg=700.0),
    floor=Floor(U_W_per_m2_K=1e-9, heat_J_per_m3_K=1e4),
    frames=Frames(area_m2=1e-6, U_W_per_m2_K=0.5),
)
EMPTY = Charge(tonnes=0.0, mix_degC=20.0)


def W_of(t: float, rh_pct: float) -> float:
    return humidity_ratio(rh_pct / 100.0 * psat(t), Pa)


def envelope_UA(model: Chamber, h_c: float) -> float:
    """Conductance from air to outdoors: film in series with the rest of the wall, per skin."""
    wall = model.constants.wall
    return float((1.0 / (1.0 / (h_c * wall[at.L_M2]) + 1.0 / wall[at.L_OUT_W_K])).sum())


@pytest.mark.outside("recomputed: closed form Q = UA (Ti - Te)")
def test_steady_state_of_a_heated_box():
    """Only the envelope loses heat, dry air, steady fan heat; 10 kW over 307 W/K is 32.573 K.

    Holds when every cell is at one temperature: the fan is strong, h_c fixed, and U is set so that UA is 307 W/K.
    """
    heat_W = 10e3
    base = replace(
        BARE,
        room=replace(BARE.room, dry_air_kg=100.0),
        air=Air(film_W_per_m2_K=10.0, film_W_per_m2_K_per_m_per_s=0.0, jet_exchange=1e4),
        fan=Fan(full_kg_per_s=9.0, rated_kg_per_s=9.0, rated_kW=heat_W / 1e3, lag_s=1.0),
        racks=Racks(steel_kg=1.0, steel_m2_per_position=1e-6),
        envelope=Envelope(U_W_per_m2_K=0.8, skin_J_per_m2_K=200.0),
        start=Start(rh_pct=5.0),
    )

    def built(U: float) -> Chamber:
        params = replace(base, envelope=replace(base.envelope, U_W_per_m2_K=U))
        return Chamber(params, charge=EMPTY, weather=Weather.constant(-5.0, 50.0), seed=1)

    lo, hi = 0.1, 3.0
    for _ in range(80):
        U = 0.5 * (lo + hi)
        lo, hi = (U, hi) if envelope_UA(built(U), 10.0) < 307.0 else (lo, U)
    model = built(0.5 * (lo + hi))
    expected = heat_W / 307.0
    for _ in range(40000):
        model.step((1.0, 100.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0))
    mean = float(model.state.air[at.AIR_T].mean())
    assert expected == pytest.approx(32.573, abs=5e-4)
    # The supply is warmer than the return by Q/(G c): 1e-6 holds for the booked flows, 2 % for a mean of two cells.
    assert mean + 5.0 == pytest.approx(expected, rel=0.02)
    before = model.books.envelope_kWh
    model.step((1.0, 100.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0))
    assert (before - model.books.envelope_kWh) * 3.6e6 == pytest.approx(heat_W, rel=1e-6)
    wall = model.constants.wall
    mean_by_flow = sum(float(wall[at.L_OUT_W_K, j] * (model.state.wall[at.S_T, j] + 5.0)) for j in range(wall.shape[1]))
    assert mean_by_flow == pytest.approx(heat_W, rel=1e-6)


@pytest.mark.outside("recomputed: closed form (1 - dt/tau)**n against exp(-t/tau)")
def test_a_surface_relaxes_as_the_explicit_step_says():
    """A board of tau = 60 s in air that stays as it is: Euler's 0.364792 after tau, not 0.367879.

    Holds when the air's heat capacity is without limit beside the board's, and nothing condenses.
    """
    h_c, area = 10.0, 1.0
    T, C = 1.0, h_c * area * 60.0
    for _ in range(60):
        water = vapour_to_(h_c / LEWIS_J_PER_KG_K * area, 0.0, W_of(T, 100.0), 0.0)
        T += (h_c * area * (0.0 - T) + water) / C
    assert pytest.approx(0.364792, abs=5e-7) == T
    assert pytest.approx((1.0 - 1.0 / 60.0) ** 60, rel=1e-12) == T
    # The fan's lag is the exact solution instead: no error from the step.
    model = Chamber(PlantParams(fan=Fan(lag_s=60.0)), charge=Charge(), weather=Weather.constant(20, 50), seed=1)
    for _ in range(60):
        model.step((1.0, 100.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0))
    assert model.state.gear[at.G_SPEED] == pytest.approx(100.0 * (1.0 - exp(-1.0)), rel=1e-12)


vapour_to_ = python_of(vapour_to)


@pytest.mark.outside("recomputed: closed form W = Wo + (W0 - Wo) exp(-n t)")
def test_moisture_decays_by_air_changes():
    """Two air changes an hour of leak, no surface takes part: exponential decay, error first order in dt."""
    kg = 700.0
    room = replace(BARE.room, leak_kg_per_s=2.0 * kg / 3600.0, dry_air_kg=kg)
    params = replace(BARE, room=room, start=Start(rh_pct=60))
    model = Chamber(params, charge=EMPTY, weather=Weather.constant(20.0, 30.0), seed=1)
    W0, Wo = float(model.state.air[at.AIR_W].mean()), W_of(20.0, 30.0)
    for _ in range(1800):
        model.step(IDLE)
    expected = Wo + (W0 - Wo) * exp(-1.0)
    assert float(model.state.air[at.AIR_W].mean()) == pytest.approx(expected, rel=1e-3)
    assert float(model.state.air[at.AIR_W].mean()) == pytest.approx(Wo + (W0 - Wo) * (1 - 2 / 3600) ** 1800, rel=1e-9)


@pytest.mark.outside("recomputed: closed form difference decays as exp(-2 x t / M), mean is conserved")
def test_two_equal_cells_approach_each_other_exactly():
    x, M, dt, n = 0.7, 10.2, 1.0, 25
    air = np.zeros((at.AIR_ROWS, 2))
    air[at.AIR_H], air[at.AIR_WATER] = (9e5, 8e5), (0.31, 0.22)
    total = air.sum(axis=1)
    gap = air[:, 0] - air[:, 1]
    for _ in range(n):
        python_of(swap)(air, 0, 1, 0.5 * (1.0 - exp(-2.0 * x * dt / M)))
    np.testing.assert_allclose(air.sum(axis=1), total, rtol=1e-15)
    for row in (at.AIR_H, at.AIR_WATER):
        assert air[row, 0] - air[row, 1] == pytest.approx(gap[row] * exp(-2.0 * x * n / M), rel=1e-11)


@pytest.mark.outside("recomputed: nothing moves where everything is alike")
def test_a_chamber_like_its_surroundings_stays_as_it_is():
    """Outdoors, hall, ground and chamber at 20 degC and 60 %RH, everything off, 24 h: nothing changes.

    Product would hydrate and give off water: the racks are empty.
    """
    params = replace(PlantParams(), floor=Floor(ground_degC=20.0), start=Start(rh_pct=60.0))
    model = Chamber(params, charge=EMPTY, weather=Weather.constant(20.0, 60.0), seed=1)
    before = model._state.copy()
    for _ in range(86400):
        model.step(IDLE)
    for table in (model.state.air, model.state.board, model.state.wall, model.state.floor):
        then = at.state_views(before, 6, 1, 12, 0)
        was = next(old for old, new in zip(then, model.state, strict=True) if new is table)
        np.testing.assert_allclose(table, was, rtol=1e-10, atol=1e-10)


@pytest.mark.outside("recomputed: f_Rsi with Rsi 0.13 m2K/W: the inside surface is at Ti - (Ti - Te) U Rsi")
@pytest.mark.parametrize(("U", "onset_pct"), [(0.25, 93.4), (0.35, 90.9), (0.5, 87.2), (1.0, 75.8)])
def test_walls_become_wet_at_the_humidity_that_the_surface_temperature_says(U: float, onset_pct: float):
    """32 degC inside, -5 outdoors: the wall's film starts at the RH at which the steady surface is at the dew point.

    Expected values recomputed. Holds for a film coefficient of 1/0.13 and a surface in balance; air held constant.
    """
    T_surface = 32.0 - 37.0 * U * 0.13
    onset = 100.0 * psat(T_surface) / psat(32.0)
    assert onset == pytest.approx(onset_pct, abs=0.06)
    for rh, wet in ((onset - 0.1, False), (onset + 0.1, True)):
        model = held(replace(BARE, envelope=Envelope(U_W_per_m2_K=U)), 32.0, rh)
        model.state.wall[at.S_T] = T_surface
        drive_constant_air(model, 32.0, rh, 1200)
        assert bool(model.state.wall[at.S_FILM, 0] > 0.0) is wet


def held(params: PlantParams, t: float, rh_pct: float) -> Chamber:
    air = Air(film_W_per_m2_K=1.0 / 0.13, film_W_per_m2_K_per_m_per_s=0.0)
    model = Chamber(
        replace(params, air=air), charge=replace(EMPTY, mix_degC=t), weather=Weather.constant(-5.0, 80.0), seed=1
    )
    model.start(t, rh_pct)
    return model


def drive_constant_air(model: Chamber, t: float, rh_pct: float, steps: int) -> None:
    """Put the air back after every step: the surfaces see what the closed form assumes."""
    W, M = W_of(t, rh_pct), float(model.constants.k[at.K_AIR_KG])
    for _ in range(steps):
        model.step(IDLE)
        air = model.state.air
        air[at.AIR_T], air[at.AIR_W], air[at.AIR_FOG] = t, W, 0.0
        air[at.AIR_H], air[at.AIR_WATER] = M * enthalpy(t, W), M * W


@pytest.mark.outside("recomputed: closed form film / (h_m (Ws - W)), h_m = h_c / (1040 * 0.91)")
@pytest.mark.parametrize(("rh_pct", "expected_s"), [(90.0, 1479.0), (95.0, 2950.0), (98.0, 7365.0)])
def test_a_film_dries_in_the_time_that_mass_transfer_says(rh_pct: float, expected_s: float):
    """0.05 kg/m2 with h_c 10 W/m2K at 32 degC, the surface kept at air temperature: 2 %."""
    film, seconds = 0.05, 0
    Ws, W = W_of(32.0, 100.0), W_of(32.0, rh_pct)
    while film > 0.0:
        film += vapour_to_(10.0 / LEWIS_J_PER_KG_K, W, Ws, film)
        seconds += 1
    assert seconds == pytest.approx(expected_s, rel=0.02)


@pytest.mark.outside("recomputed: bisection with ASHRAE's constants and Sonntag's (1990) saturation pressure")
def test_equal_parts_of_moist_air_make_fog():
    """28 and 36 degC at 98 %: 32.070 degC and 0.0088 g/kg of fog; saturated 5 and 40 degC: 28.487 and 2.307 g/kg."""

    def mixed(a: tuple[float, float], b: tuple[float, float]) -> tuple[float, float, float]:
        Wa, Wb = W_of(*a), W_of(*b)
        return flash(0.5 * (enthalpy(a[0], Wa) + enthalpy(b[0], Wb)), 0.5 * (Wa + Wb), Pa)

    t, _, fog = mixed((28.0, 98.0), (36.0, 98.0))
    assert t == pytest.approx(32.0703, abs=1e-3)
    assert fog == pytest.approx(8.81e-6, abs=0.1e-6)
    t, W, fog = mixed((5.0, 100.0), (40.0, 100.0))
    assert t == pytest.approx(28.487, abs=0.01)
    assert pytest.approx(24.842e-3, rel=1e-3) == W
    assert fog == pytest.approx(2.307e-3, rel=2e-3)


@pytest.mark.outside("recomputed: series solution of a slab, Bi 0.133, tau 15256 s; Bi 0.756, tau 3244 s")
@pytest.mark.parametrize(("h", "tau_s"), [(5.32, 15256.0), (30.24, 3244.0)])
def test_two_nodes_cool_like_a_slab(h: float, tau_s: float):
    """Half thickness 40 mm, conductivity 1.6 W/mK, diffusivity 8.24e-7 m2/s: slowest time constant within 10 %.

    Two nodes with skin share s: the link to the core is k / (L/3) / (1 - s)**2, as the defaults were chosen.
    """
    L, conductivity, alpha, s = 0.04, 1.6, 8.24e-7, Product().skin_share
    C = L * conductivity / alpha
    G = conductivity / (L / 3.0) * (1.0 - s) ** 2
    A = np.array([[-(h + G) / (s * C), G / (s * C)], [G / ((1 - s) * C), -G / ((1 - s) * C)]])
    assert -1.0 / np.linalg.eigvals(A).real.max() == pytest.approx(tau_s, rel=0.10)


@pytest.mark.outside("recomputed: installed equal percentage, R 50, authority 0.5")
def test_installed_flow_of_the_valve():
    for x, flow in ((0.25, 0.0751), (0.5, 0.1980), (0.75, 0.4978)):
        assert python_of(opened)(x, 50.0, 0.5) == pytest.approx(flow, abs=6e-5)
    assert python_of(opened)(1.0, 50.0, 0.5) == 1.0
    assert python_of(opened)(0.0, 50.0, 0.5) == 0.0


@pytest.mark.outside("recomputed: d-square law, 32 degC, 20 um, 2 m of fall")
def test_droplets_survive_near_saturation():
    model = Chamber(PlantParams(), charge=Charge(), weather=Weather.constant(8.0, 80.0), seed=1)
    for rh_pct, share in ((90.0, 0.99), (95.0, 0.98), (98.0, 0.95)):
        found = python_of(evaporated_share)(model.constants.k, 32.0, W_of(32.0, rh_pct))
        assert found == pytest.approx(share, abs=0.011)
    assert python_of(evaporated_share)(model.constants.k, 32.0, W_of(32.0, 100.0)) == 0.0
    assert dew_point(W_of(32.0, 98.0), Pa) == pytest.approx(31.643, abs=1e-3)
