"""Exhaust and make-up: dampers in series, leakage, and heat recovery with its condensate and frost limit."""

from __future__ import annotations

from math import sqrt
from typing import Any

import pytest

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.pack.common import MisfitError
from plantsim.params import Makeup, PlantParams, Vent
from plantsim.weather import Weather


def vented(vent: Vent, pct: float, outdoor: tuple[float, float] = (-5.0, 80.0), seconds: int = 120) -> Chamber:
    weather = Weather.constant(*outdoor)
    model = Chamber(PlantParams(vent=vent), charge=Charge(mix_degC=32.0), weather=weather, seed=1)
    model.start(32.0, 98.0)
    wanted = tuple({"fan_run": 1.0, "fan_pct": 75.0, "vent_pct": pct}.get(name, 0.0) for name in OUTPUTS)
    for _ in range(seconds):
        model.step(wanted)
    return model


def flow(vent: Vent, pct: float) -> float:
    return float(vented(vent, pct).state.gear[at.G_VENT])


@pytest.mark.parametrize(("pct", "area"), [(25.0, 0.25), (50.0, 0.5), (100.0, 1.0)])
def test_two_linear_dampers_share_the_pressure(pct: float, area: float) -> None:
    vent = Vent(characteristic="linear", authority=0.3, makeup=Makeup(authority=0.2))
    assert flow(vent, pct) == pytest.approx(1.0 / sqrt(1.0 + 0.5 * (1.0 / area**2 - 1.0)), rel=1e-9)


def test_a_table_is_followed_between_its_points() -> None:
    vent = Vent(characteristic="table", table=((0.0, 0.0), (50.0, 20.0), (100.0, 100.0)), authority=1.0)
    assert flow(vent, 25.0) == pytest.approx(0.1, rel=1e-9)
    assert flow(vent, 75.0) == pytest.approx(0.6, rel=1e-9)


def test_a_shut_damper_leaks_what_it_says_and_none_otherwise() -> None:
    assert flow(Vent(leakage_share=0.05, authority=1.0), 0.0) == pytest.approx(0.05, rel=1e-9)
    assert flow(Vent(characteristic="linear"), 0.0) == 0.0


def test_recovery_keeps_heat_drains_condensate_and_the_books_close() -> None:
    plain, saving = (vented(Vent(recovery_efficiency=x), 100.0, seconds=1800).books for x in (0.0, 0.7))
    assert plain.recovered_kWh == plain.exhaust_drain_kg == 0.0
    assert saving.recovered_kWh > 1.0
    assert saving.exhaust_drain_kg < -1.0
    for books in (plain, saving):
        assert abs(books.energy_closure) < 1e-11
        assert abs(books.water_closure) < 1e-11


def test_frost_limit_holds_back_the_exchanger() -> None:
    """Cold dry exhaust would freeze: with a high limit less is recovered."""
    free, held = (
        vented(Vent(recovery_efficiency=0.9, recovery_frost_degC=x), 100.0, (-30.0, 80.0), 600).books.recovered_kWh
        for x in (-5.0, 15.0)
    )
    assert 0.0 < held <= free


@pytest.mark.parametrize(
    ("vent", "field"),
    [
        ({"characteristic": "table"}, "vent.table"),
        ({"characteristic": "table", "table": ((0.0, 0.0), (90.0, 100.0))}, "vent.table"),
        ({"authority": 0.9, "makeup": Makeup(authority=0.3)}, "vent.makeup.authority"),
    ],
)
def test_dampers_that_cannot_be_are_refused(vent: dict[str, Any], field: str) -> None:
    with pytest.raises(MisfitError) as raised:
        vented(Vent(**vent), 0.0)
    assert raised.value.field == field
