"""Every kind of heater in the chamber model: what it gives, keeps, buys; its books, and what acts without control."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.kernel.gas import FIRE, PURGE, REST
from plantsim.params import Coil, Electric, Gas, Heat, PlantParams, Steam
from plantsim.truth import COLUMN
from plantsim.weather import Weather

KINDS: dict[str, Heat] = {"water": Coil(), "electric": Electric(), "gas": Gas(), "steam": Steam(wet_share=0.05)}
FULL = {"fan_run": 1.0, "fan_pct": 75.0, "heat_run": 1.0, "valve_pct": 100.0}
STAGES = {f"stage_{i}": 1.0 for i in range(1, 5)}


def outputs(**given: float) -> tuple[float, ...]:
    return tuple(given.get(name, 0.0) for name in OUTPUTS)


def chamber(heat: Heat, dt_s: float = 1.0, tonnes: float = 120.0) -> Chamber:
    charge = Charge(tonnes=tonnes, mix_degC=20.0)
    return Chamber(PlantParams(heat=heat), charge=charge, weather=Weather.constant(8.0, 80.0), seed=1, dt_s=dt_s)


def live(model: Chamber, seconds: float, wanted: tuple[float, ...]) -> Chamber:
    for _ in range(round(seconds / model.dt_s)):
        model.step(wanted)
    return model


def heat_kW(model: Chamber) -> float:
    return model.truth_row[COLUMN["heat_kW"]]


@pytest.mark.parametrize("kind", KINDS)
def test_books_close_over_hours_of_everything(kind: str) -> None:
    """Heat, fog, vent, door, a stop of the fan, a limiter's trip and reset: energy and water to 1e-9."""
    model = chamber(KINDS[kind])
    for hour in range(6):
        fan = 0.0 if hour == 4 else 1.0
        wanted = outputs(**{**FULL, **STAGES, "fan_run": fan, "vent_pct": 50.0 * (hour % 2), "fog_a": 1.0})
        model.set_door(2, hour == 3)
        live(model, 3600.0, wanted)
        model.reset_limiter()
    books = model.books
    assert abs(books.energy_closure) < 1e-9
    assert abs(books.water_closure) < 1e-9
    assert (books.steam_kg > 100.0) == (kind == "steam")
    assert (books.heat_kWh > 50.0) == (kind != "steam")


@pytest.mark.parametrize("kind", ["electric", "gas"])
def test_what_is_bought_is_given_or_still_in_the_metal(kind: str) -> None:
    """Bought x efficiency = given to the air + heat capacity x rise: to rounding, at any moment."""
    model = chamber(KINDS[kind])
    begun = float(model.state.gear[at.G_ELEMENT_T])
    for seconds in (40.0, 400.0, 4000.0):
        live(model, seconds, outputs(**FULL, **STAGES))
        books, k = model.books, model.constants.k
        kept = k[at.K_ELEMENT_J_K] * (model.state.gear[at.G_ELEMENT_T] - begun) / 3.6e6
        useful = books.bought_kWh * (0.9 if kind == "gas" else 1.0)
        assert useful == pytest.approx(books.heat_kWh + kept, rel=1e-9)


def test_elements_warm_up_with_their_own_lag() -> None:
    """At rated flow (75 % of the fan) 1 - exp(-t/lag) of the power reaches the air; the air hardly warms meanwhile."""
    model = live(chamber(Electric(lag_s=60.0)), 120.0, outputs(fan_run=1.0, fan_pct=75.0))
    live(model, 60.0, outputs(**FULL, **STAGES))
    assert heat_kW(model) == pytest.approx(60.0 * (1.0 - exp(-1.0)), rel=0.02)
    live(model, 300.0, outputs(**FULL, stage_1=1.0))
    assert heat_kW(model) == pytest.approx(15.0, rel=0.03)


@pytest.mark.parametrize("dt_s", [0.5, 2.0])
def test_the_lag_of_hot_metal_does_not_hang_on_the_step(dt_s: float) -> None:
    given = [
        heat_kW(live(chamber(Electric(), dt, tonnes=0.0), 64.0, outputs(**FULL, **STAGES))) for dt in (1.0, dt_s)
    ]
    assert given[1] == pytest.approx(given[0], rel=0.02)


@pytest.mark.parametrize("kind", ["electric", "gas"])
def test_heat_with_the_fan_lost_trips_the_limiter_without_the_controller(kind: str) -> None:
    """Outputs go on as if nothing had happened; the hard-wired limiter cuts them, the metal keeps its heat a while."""
    model = live(chamber(KINDS[kind]), 1800.0, outputs(**FULL, **STAGES))
    assert model.contacts["limiter_healthy"]
    lost = outputs(**{**FULL, **STAGES, "fan_run": 0.0})
    for _ in range(1500):  # a gas exchanger is heavy: its air takes its time to become hot
        model.step(lost)
        if not model.contacts["limiter_healthy"]:
            break
    assert not model.contacts["limiter_healthy"]
    kept = heat_kW(model)
    model.step(lost)
    assert model.state.gear[at.G_INPUT_W] == 0.0
    assert 0.9 * kept < heat_kW(model) <= kept
    live(model, 3.0 * 3600.0, lost)
    assert heat_kW(model) < 0.5


@pytest.mark.parametrize("kind", ["electric", "gas", "steam"])
def test_emergency_stop_takes_the_power_away_at_once(kind: str) -> None:
    model = live(chamber(KINDS[kind]), 300.0, outputs(**FULL, **STAGES))
    model.set_condition("estop_healthy", False)
    live(model, 60.0, outputs(**FULL, **STAGES))
    assert model.state.gear[at.G_INPUT_W] == pytest.approx(0.0, abs=1.0)


def test_the_burner_purges_keeps_its_times_and_never_burns_below_minimum_fire() -> None:
    model = chamber(Gas(purge_s=30.0, min_on_s=120.0, min_off_s=100.0))
    seen = []
    calls = [True] * 5 + [False] * 95 + [True] * 60 + [False] * 140 + [True] * 200
    for call in calls:
        model.step(outputs(fan_run=1.0, fan_pct=75.0, heat_run=float(call), valve_pct=5.0))
        seen.append((float(model.state.gear[at.G_FIRE]), float(model.state.gear[at.G_INPUT_W])))
    fires = [fire for fire, _ in seen]
    assert fires[:5] == [PURGE] * 5
    assert set(fires[5:100]) == {REST}  # broken off while purging: nothing had burnt
    assert fires[100:131] == [PURGE] * 31
    first = fires.index(FIRE)
    assert fires[first : first + 120] == [FIRE] * 120  # the call ended after 29 s of it
    after = fires.index(REST, first)
    assert after - first <= 122
    again = fires.index(PURGE, after)
    assert again - after >= 100
    burnt = [power for fire, power in seen if fire == FIRE]
    assert burnt == pytest.approx([0.3 * 60e3 / 0.9] * len(burnt))
    assert {power for fire, power in seen if fire != FIRE} == {0.0}


def test_steam_brings_water_and_nearly_no_warmth_to_the_air() -> None:
    """60 kg/h of steam for an hour against as much heat of elements: the air stays cooler and becomes far wetter."""
    steam = live(chamber(Steam(max_kg_per_h=60.0)), 3600.0, outputs(**FULL))
    dry = live(chamber(Electric(stage_kW=(44.6,))), 3600.0, outputs(**FULL, **STAGES))
    assert steam.books.steam_kg == pytest.approx(60.0, rel=0.02)
    assert steam.books.steam_kWh == pytest.approx(steam.books.steam_kg * 2675.5 / 3600.0, rel=1e-12)
    for model, limit in ((steam, 99.0), (dry, 0.0)):
        assert model.truth_row[COLUMN["rh_mean_pct"]] > limit
    assert steam.truth_row[COLUMN["air_mean_degC"]] < dry.truth_row[COLUMN["air_mean_degC"]]
    condensed = steam.books.condensed_product_kg + steam.books.condensed_board_kg + steam.books.condensed_envelope_kg
    assert condensed + steam.books.deposited_kg > 20.0  # where it met what was colder
    assert dry.books.condensed_product_kg + dry.books.condensed_board_kg < 1.0


def test_wet_steam_brings_less_heat() -> None:
    dry, wet = (live(chamber(Steam(wet_share=share)), 900.0, outputs(**FULL)).books for share in (0.0, 0.1))
    assert wet.steam_kg == dry.steam_kg
    per_kg = wet.steam_kWh / wet.steam_kg * 3600.0
    assert per_kg == pytest.approx(0.9 * 2675.5 + 0.1 * 419.1, rel=1e-9)


def test_steam_without_fan_wets_the_top() -> None:
    model = live(chamber(Steam()), 900.0, outputs(heat_run=1.0, valve_pct=100.0))
    W = model.state.air[at.AIR_WATER].reshape(6, 12)
    assert (W[:, -1] > 1.2 * W[:, 0]).all()


@pytest.mark.parametrize("kind", KINDS)
def test_bays_alike_stay_alike(kind: str) -> None:
    model = live(chamber(KINDS[kind]), 600.0, outputs(**FULL, **STAGES))
    inner = model.state.air[at.AIR_T].reshape(6, 12)
    assert np.array_equal(inner, inner[::-1])


@pytest.mark.parametrize("heat", [Coil(leak_share=0.05), Steam(leak_share=0.05)])
def test_a_leaking_valve_heats_with_everything_off(heat: Heat) -> None:
    model = live(chamber(heat), 600.0, outputs(fan_run=1.0, fan_pct=75.0))
    assert 2.0 < heat_kW(model) < 4.5
    tight = live(chamber(type(heat)()), 600.0, outputs(fan_run=1.0, fan_pct=75.0))
    assert heat_kW(tight) == 0.0
