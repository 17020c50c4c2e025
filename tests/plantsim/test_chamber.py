"""The chamber model as a whole: books, symmetry, determinism, stratification, condensation, hard-wired hardware."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.kernel.jit import python_of
from plantsim.kernel.moistair import dew_point
from plantsim.kernel.step import step
from plantsim.params import Air, PlantParams, Probe, Product
from plantsim.truth import COLUMN, COLUMNS, surface_name
from plantsim.weather import Weather

REPOSITORY = Path(__file__).parents[2]
COLD = Weather.constant(-5.0, 80.0)
MILD = Weather.constant(8.0, 80.0)
PROBES = (
    Probe(tag="T", sees="air", bay=1, level=3, lag_s=30.0, noise=0.02),
    Probe(tag="M", sees="rh", bay=6, level=10, lag_s=15.0, noise=0.1),
    Probe(tag="S", sees="supply", lag_s=10.0),
)


def chamber(
    *, params: PlantParams | None = None, charge: Charge | None = None, weather: Weather = MILD, dt_s: float = 1.0
) -> Chamber:
    return Chamber(params or PlantParams(probe=PROBES), charge=charge or Charge(), weather=weather, seed=7, dt_s=dt_s)


def outputs(**given: float) -> tuple[float, ...]:
    assert set(given) <= set(OUTPUTS)
    return tuple(given.get(name, 0.0) for name in OUTPUTS)


def live(model: Chamber, seconds: float, wanted: tuple[float, ...]) -> Chamber:
    for _ in range(round(seconds / model.dt_s)):
        model.step(wanted)
    return model


def see(model: Chamber, name: str) -> float:
    return model.truth_row[COLUMN[name]]


def busy_day(model: Chamber, hours: int = 24) -> Chamber:
    """Everything at once: heat, fog, vent, doors, a stop of the fan, a reset; hard on the books."""
    for hour in range(hours):
        fan = 0.0 if hour % 8 == 7 else 1.0
        wanted = outputs(
            fan_run=fan, fan_pct=75.0, heat_run=1, valve_pct=70.0 if hour % 3 else 0.0, vent_pct=60.0 * (hour % 2),
            fog_a=1.0, fog_b=float(hour % 4 == 0), frame_heat=1.0,
        )  # fmt: skip
        model.set_door(2, open_=hour % 6 == 5)
        live(model, 3600.0, wanted)
    return model


def test_books_close_over_a_busy_day():
    """Stored energy and water are recomputed by definition; nothing may be lost or made in 24 h of everything."""
    books = busy_day(chamber()).books
    assert books.energy_throughput_kWh > 1000.0
    assert books.water_throughput_kg > 1000.0
    assert abs(books.energy_closure) <= 1e-12
    assert abs(books.water_closure) <= 1e-12
    assert books.deposited_kg > 0.0
    assert min(books.condensed_product_kg, books.condensed_board_kg) > 0.0


def test_a_leak_of_a_millionth_is_seen_by_the_books():
    """After an honest run, a millionth of the water that went through is taken out of one cell."""
    model = live(chamber(), 600.0, outputs(fan_run=1, fan_pct=75, vent_pct=100))
    honest = model.books
    taken = 1e-6 * honest.water_throughput_kg
    model.state.air[at.AIR_W, 5] -= taken / float(model.constants.k[at.K_AIR_KG])
    assert abs(honest.water_closure) < 1e-9
    assert model.books.water_closure == pytest.approx(-1e-6, rel=1e-3)


def test_an_exchange_that_loses_a_millionth_is_seen_by_the_books(monkeypatch: pytest.MonkeyPatch):
    """The same planted in the code: what enters the second cell is a millionth less than what left the first."""
    from plantsim.kernel import mixing

    def leaky(air: np.ndarray, i: int, j: int, part: float) -> None:
        for row in (at.AIR_H, at.AIR_WATER):
            moved = part * (air[row, i] - air[row, j])
            air[row, i] -= moved
            air[row, j] += moved * (1.0 - 1e-6)

    wanted = outputs(fan_run=1, fan_pct=75, heat_run=1, valve_pct=100)
    honest = live(plain(monkeypatch), 60.0, wanted).books
    monkeypatch.setattr(mixing, "swap", leaky)
    books = live(plain(monkeypatch), 60.0, wanted).books
    assert abs(honest.water_closure) < 1e-10  # a minute moves little: rounding weighs more than in a day
    assert abs(books.water_closure) > 1e-9
    assert abs(books.energy_closure) > 1e-9


def test_a_wrong_latent_heat_is_seen_by_the_books(monkeypatch: pytest.MonkeyPatch):
    """The air's temperature is found with 1 % more latent heat than the books know of."""
    from plantsim.kernel import equilibrium

    def wrong(enthalpy_J_per_kg: float, W: float) -> float:
        return (enthalpy_J_per_kg - 1.01 * 2.501e6 * W) / (1006.0 + 1860.0 * W)

    monkeypatch.setattr(equilibrium, "temperature_of", wrong)
    books = live(plain(monkeypatch), 60.0, outputs(fan_run=1, fan_pct=75, heat_run=1, valve_pct=100)).books
    assert abs(books.energy_closure) > 1e-3


def plain(monkeypatch: pytest.MonkeyPatch) -> Chamber:
    """A chamber whose step runs as plain Python, so that its parts can be replaced."""
    import plantsim.kernel as kernel

    modules = [module for name, module in sys.modules.items() if name.startswith(f"{kernel.__name__}.")]
    for module in modules:
        for key, value in vars(module).items():
            if hasattr(value, "py_func"):
                monkeypatch.setattr(module, key, value.py_func)
    model = chamber()
    model._step = python_of(step)
    return model


def test_plain_python_gives_the_same_numbers(monkeypatch: pytest.MonkeyPatch):
    """Compiled and not compiled, 40 s of everything: alike to rounding."""
    wanted = outputs(fan_run=1, fan_pct=75, heat_run=1, valve_pct=80, vent_pct=50, fog_a=1, fog_b=1, frame_heat=1)
    compiled = live(chamber(), 40.0, wanted)
    slow = live(plain(monkeypatch), 40.0, wanted)
    np.testing.assert_allclose(compiled._state, slow._state, rtol=1e-9, atol=1e-9)
    assert np.abs(np.array(compiled.microamps) - np.array(slow.microamps)).max() <= 1


@pytest.mark.slow
def test_it_runs_without_compilation():
    """NUMBA_DISABLE_JIT=1 in a process of its own, as coverage needs it."""
    code = (
        "from plantsim.chamber import Chamber\n"
        "from plantsim.charge import Charge\nfrom plantsim.params import PlantParams\n"
        "from plantsim.weather import Weather\n"
        "c = Chamber(PlantParams(), charge=Charge(), weather=Weather.constant(8, 80), seed=1)\n"
        "[c.step((1, 75, 1, 50, 20, 1, 1, 1)) for _ in range(20)]\n"
        "print(abs(c.books.energy_closure) < 1e-9)"
    )
    env = {**os.environ, "NUMBA_DISABLE_JIT": "1"}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=REPOSITORY, env=env, capture_output=True, text=True, timeout=120, check=True
    )
    assert done.stdout.strip() == "True"


def test_same_seed_same_run_other_seed_other_noise():
    wanted = outputs(fan_run=1, fan_pct=75, heat_run=1, valve_pct=50)
    one, two = (live(chamber(), 300.0, wanted) for _ in range(2))
    assert one.microamps == two.microamps
    assert (one._state == two._state).all()
    params = PlantParams(probe=PROBES)
    other = live(Chamber(params, charge=Charge(), weather=MILD, seed=8), 300.0, wanted)
    assert other.truth_row == one.truth_row
    assert other.microamps != one.microamps


def test_mirrored_bays_stay_alike_to_the_bit():
    """The chamber is symmetric, its end walls included; so is what happens in it, whatever the order of the loops."""
    model = live(
        chamber(weather=COLD),
        3 * 3600.0,
        outputs(fan_run=1, fan_pct=50, heat_run=1, valve_pct=60, vent_pct=30, fog_a=1),
    )
    T = model.state.air[at.AIR_T].reshape(6, 12)
    assert (T[::-1] == T).all()
    core = model.state.product[at.P_CORE].reshape(6, 12)
    assert (core == core[::-1]).all()
    assert T[0, 0] != T[2, 0]


def test_bays_without_end_walls_stay_alike_to_the_bit():
    """With the end walls' area taken away all six bays are the same chamber."""
    model = chamber(weather=COLD)
    walls = model.constants.wall[:, :72].reshape(-1, 6, 12)
    walls[:] = walls[:, 2:3, :]
    live(model, 3 * 3600.0, outputs(fan_run=1, fan_pct=50, heat_run=1, valve_pct=60, fog_a=1))
    T = model.state.air[at.AIR_T].reshape(6, 12)
    assert (T[0] == T).all()


@pytest.mark.parametrize("still", [0.005, 0.02, 0.1])
def test_without_fans_the_bottom_stays_ten_kelvin_behind(still: float):
    """Common practice, no source: heating without circulation, bottom more than 10 K cooler. Not hung on our tuning."""
    params = replace(PlantParams(), air=Air(still_exchange_kg_per_s=still))
    model = live(chamber(params=params, charge=Charge(mix_degC=18.0), weather=COLD), 6 * 3600.0,
                 outputs(heat_run=1, valve_pct=100))  # fmt: skip
    T = model.state.air[at.AIR_T].reshape(6, 12)
    assert (T[:, -1] - T[:, 0]).min() > 10.0


@pytest.mark.parametrize("fan_pct", [50.0, 75.0, 100.0])
def test_with_circulation_a_hold_stays_within_a_kelvin(fan_pct: float):
    """Common practice, no source: +/-1 K everywhere. A crude P controller, no product heat, some vent at -5 degC."""
    params = replace(PlantParams(), product=Product(hydration_J_per_kg=0.0))
    model = chamber(params=params, charge=Charge(mix_degC=32.0), weather=COLD)
    for _ in range(4 * 360):
        error = 32.0 - see(model, "air_mean_degC")
        valve = min(max(60.0 + 60.0 * error, 0.0), 100.0)
        live(model, 10.0, outputs(fan_run=1, fan_pct=fan_pct, heat_run=1, vent_pct=50, valve_pct=valve))
    assert see(model, "heat_kW") > 10.0
    assert see(model, "air_max_degC") - see(model, "air_mean_degC") < 1.0
    assert see(model, "air_mean_degC") - see(model, "air_min_degC") < 1.0


def test_a_cold_board_fogs_until_it_passes_the_dew_point_then_clears():
    """A cold rack carried into warm moist air, no product: its film grows while it is colder than the dew point."""
    model = chamber(charge=Charge(tonnes=0.0, mix_degC=30.0))
    model.start(30.0, 85.0)
    model.state.board[at.S_T, 30] = 22.0
    cleared, was_wet = False, False
    for _ in range(12 * 360):
        T, film = model.state.board[at.S_T, 30], model.state.board[at.S_FILM, 30]
        below = dew_point(model.state.air[at.AIR_W, 30], 101325.0) - 0.05 > T
        live(model, 10.0, outputs(fan_run=1, fan_pct=75))
        grown = model.state.board[at.S_FILM, 30] - film
        was_wet = was_wet or film > 0.001
        if below:
            assert grown > 0.0
        cleared = was_wet and model.state.board[at.S_FILM, 30] == 0.0
        if cleared:
            break
    assert was_wet
    assert cleared


def test_halving_the_step_halves_the_error():
    """First order: distance to the limit that the two finest runs point at, for 1, 0.5 and 0.25 s."""
    wanted = outputs(fan_run=1, fan_pct=75, heat_run=1, valve_pct=100)
    ends = [live(chamber(dt_s=dt), 300.0, wanted).state.air[at.AIR_T].copy() for dt in (1.0, 0.5, 0.25, 0.125)]
    limit = 2.0 * ends[3] - ends[2]
    errors = [float(np.abs(end - limit).max()) for end in ends[:3]]
    assert errors[0] < 0.25
    assert 1.8 <= errors[0] / errors[1] <= 2.4
    assert 1.8 <= errors[1] / errors[2] <= 2.4


def test_limiter_cuts_heat_and_opens_the_damper_until_it_is_reset():
    params = replace(PlantParams(), limiter=replace(PlantParams().limiter, trip_degC=24.0, reset_below_degC=23.0))
    model = chamber(params=params)
    wanted = outputs(fan_run=1, fan_pct=75, heat_run=1, valve_pct=100)
    live(model, 900.0, wanted)
    assert not model.contacts["limiter_healthy"]
    live(model, 600.0, wanted)
    assert see(model, "heat_kW") == 0.0
    assert see(model, "vent_kg_per_s") == pytest.approx(1.0)
    assert model.reset_limiter()
    live(model, 5.0, wanted)
    assert model.contacts["limiter_healthy"]


def test_emergency_stop_works_in_hardware():
    model = live(chamber(), 300.0, outputs(fan_run=1, fan_pct=75, heat_run=1, valve_pct=60, fog_a=1))
    assert model.contacts["airflow"]
    model.set_condition("estop_healthy", False)
    live(model, 900.0, outputs(fan_run=1, fan_pct=75, heat_run=1, valve_pct=60, fog_a=1))
    assert not model.contacts["airflow"]
    assert (see(model, "flow_kg_per_s"), see(model, "heat_kW"), see(model, "fog_kg_per_h")) == (0.0, 0.0, 0.0)


def test_what_follows_from_the_model_cannot_be_set():
    with pytest.raises(ValueError, match="follows from the model"):
        chamber().set_condition("airflow", True)
    with pytest.raises(KeyError, match="no condition"):
        chamber().set_condition("coffee", True)


def test_an_open_door_costs_hundreds_of_kilowatts():
    model = chamber(charge=Charge(mix_degC=32.0))
    model.start(32.0, 98.0)
    model.set_door(3, open_=True)
    assert not model.contacts["door_3_closed"]
    live(model, 10.0, outputs(fan_run=1, fan_pct=75))
    assert -model.books.doors_kWh * 3600.0 / 10.0 > 100.0


def test_vent_in_winter_makes_fog_in_the_plenum_and_no_water_is_lost():
    model = chamber(charge=Charge(mix_degC=32.0), weather=COLD)
    model.start(32.0, 99.0)
    live(model, 60.0, outputs(fan_run=1, fan_pct=75, vent_pct=100))
    assert see(model, "fog_in_air_max_g_per_kg") > 0.0
    assert abs(model.books.water_closure) < 1e-10


def test_an_empty_bay_holds_no_product_and_books_still_close():
    model = live(chamber(charge=Charge(tonnes=100.0, empty_bays=(3,))), 3600.0, outputs(fan_run=1, fan_pct=75, fog_b=1))
    assert model.constants.cell[at.C_PRODUCT_M2].reshape(6, 12)[2].max() == 0.0
    assert model.constants.cell[at.C_CEMENT].sum() == pytest.approx(100e3 * 0.152)
    assert abs(model.books.energy_closure) < 1e-12
    with pytest.raises(ValueError, match="empty bay 9"):
        chamber(charge=Charge(empty_bays=(9,)))


def test_a_lost_probe_fails_low():
    model = chamber()
    model.lose_probe("M")
    live(model, 1.0, outputs())
    assert model.microamps[1] <= 3600
    assert model.microamps[0] > 3800


def test_truth_has_a_value_for_every_column():
    assert len(chamber().truth_row) == len(COLUMNS) == at.TRUTH
    assert surface_name(0, 6, 12) == "board bay 1 level 1"
    assert surface_name(143, 6, 12) == "envelope bay 6 level 12"
    assert surface_name(146, 6, 12) == "door frame bay 3"
    assert surface_name(2 * 36, 6, 12, 3) == "board bay 3 level 1, front"
    assert surface_name(3 * 72 + 2 * 36 + 12, 6, 12, 3) == "envelope bay 3 level 1, middle"
    assert surface_name(2 * 3 * 72 + 5, 6, 12, 3) == "door frame bay 6"


def test_weather_is_interpolated_between_hours_and_repeats():
    weather = Weather((0.0, 10.0), (50.0, 100.0))
    assert weather.at(1800.0) == (5.0, 75.0)
    assert weather.at(5400.0) == (5.0, 75.0)
    with pytest.raises(ValueError, match="limits are"):
        Weather((99.0,), (50.0,))
