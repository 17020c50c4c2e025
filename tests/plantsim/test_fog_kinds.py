"""Every kind of fog in the chamber model: banks, a pump of variable speed, a steam humidifier."""

from __future__ import annotations

import pytest

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.params import Fog, PlantParams, PumpedFog, SteamFog
from plantsim.truth import COLUMN
from plantsim.weather import Weather


def chamber(fog) -> Chamber:
    empty = Charge(tonnes=0.0, mix_degC=30.0)
    model = Chamber(PlantParams(fog=fog), charge=empty, weather=Weather.constant(25.0, 50.0), seed=1)
    model.start(30.0, 60.0)
    return model


def live(model: Chamber, seconds: int, **given: float):
    for _ in range(seconds):
        model.step(tuple(given.get(name, 0.0) for name in OUTPUTS))
    return model.state.gear


BOTH = {"fan_run": 1.0, "fan_pct": 75.0, "fog_a": 1.0, "fog_b": 1.0}


@pytest.mark.parametrize(("pct", "kg_per_h"), [(100.0, 60.0), (50.0, 30.0), (40.0, 24.0), (37.0, 0.0), (0.0, 0.0)])
def test_flow_goes_with_the_speed_and_ends_where_check_valves_close(pct: float, kg_per_h: float) -> None:
    """Check valves open at 10 of 70 bar: at sqrt(10/70) = 37.8 % of the speed."""
    gear = live(chamber(PumpedFog()), 60, **BOTH, fog_pct=pct)
    assert gear[at.G_FOG_KG_H] == pytest.approx(kg_per_h, abs=1e-6)


def test_a_bank_that_is_shut_gives_nothing_at_any_speed() -> None:
    gear = live(chamber(PumpedFog()), 60, fan_run=1.0, fan_pct=75.0, fog_a=1.0, fog_pct=80.0)
    assert gear[at.G_FOG_KG_H] == pytest.approx(12.0, rel=1e-6)


def test_less_pressure_makes_larger_droplets_that_wet_more() -> None:
    """Half the speed is a quarter of the pressure: droplets are 4 ** 0.4 = 1.74 times as large."""
    slow, full = (live(chamber(PumpedFog()), 60, **BOTH, fog_pct=pct) for pct in (50.0, 100.0))
    assert slow[at.G_DROP] == pytest.approx(4.0**0.4, rel=1e-6)
    assert full[at.G_DROP] == pytest.approx(1.0, rel=1e-6)
    assert slow[at.G_EVAPORATED] < full[at.G_EVAPORATED]


def test_at_full_speed_a_pump_is_as_good_as_none() -> None:
    pumped = live(chamber(PumpedFog(pump_lag_s=0.01)), 300, **BOTH, fog_pct=100.0)
    plain = live(chamber(Fog()), 300, **BOTH)
    assert pumped[at.G_EVAPORATED] == pytest.approx(plain[at.G_EVAPORATED], rel=1e-9)


def test_a_humidifier_moistens_without_cooling_and_droplets_cool() -> None:
    steam, spray = chamber(SteamFog(max_kg_per_h=30.0, lag_s=10.0)), chamber(PumpedFog())
    for model in (steam, spray):
        live(model, 600, **BOTH, fog_pct=50.0 if model is spray else 100.0)
    still = chamber(SteamFog())
    live(still, 600, fan_run=1.0, fan_pct=75.0)
    T = [model.truth_row[COLUMN["air_mean_degC"]] for model in (steam, still, spray)]
    W = [float(model.state.air[at.AIR_WATER].sum()) for model in (steam, still, spray)]
    assert T[0] > T[1] > T[2]
    assert T[1] - T[2] > 5.0 * (T[0] - T[1])
    assert W[0] > W[1] < W[2]


def test_the_humidifier_boils_up_slowly_and_buys_its_power() -> None:
    model = chamber(SteamFog(max_kg_per_h=60.0, lag_s=60.0, efficiency=0.9))
    gear = live(model, 60, fan_run=1.0, fan_pct=75.0, fog_a=1.0, fog_pct=100.0)
    assert gear[at.G_FOG_KG_H] == pytest.approx(60.0 * (1.0 - 2.718281828**-1), rel=1e-6)
    books = model.books
    boiled_kWh = books.steam_kg * (2675.5 - 4.186 * 15.0) / 3600.0
    assert books.bought_kWh == pytest.approx(boiled_kWh / 0.9, rel=1e-6)
    assert books.fog_kg == 0.0


@pytest.mark.parametrize("fog", [PumpedFog(droplet_um=40.0), SteamFog()])
def test_books_close(fog) -> None:
    model = chamber(fog)
    for minute in range(60):
        live(model, 60, **BOTH, fog_pct=20.0 * (minute % 6), vent_pct=10.0 * (minute % 3), heat_run=1.0, valve_pct=50.0)
    assert abs(model.books.energy_closure) < 1e-10
    assert abs(model.books.water_closure) < 1e-10


def test_without_water_pressure_nothing_comes() -> None:
    for fog in (PumpedFog(), SteamFog(lag_s=5.0)):
        model = chamber(fog)
        live(model, 60, **BOTH, fog_pct=100.0)
        model.set_condition("fog_pressure", False)
        assert live(model, 120, **BOTH, fog_pct=100.0)[at.G_FOG_KG_H] == 0.0
