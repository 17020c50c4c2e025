"""What is said of a standing climate beforehand: trips from a filling, the estimate, what will not go as asked."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.config import everyday
from controller.config.chamber import ChamberFile
from controller.config.everyday import Everyday
from controller.config.filling import FillingRow, load_filling
from controller.config.find import find
from controller.config.loader import load
from controller.core.product.mix import Mix
from controller.core.sequence.recipe import Recipe

MILD = [(8.0, 80.0)]


def ahead(chamber: str, rows: tuple[FillingRow, ...], outdoor: list[tuple[float, float]] = MILD) -> Everyday:
    phase = everyday.standing_phase(load(find("recipe", "standing"), Recipe))
    assert phase is not None
    place, mix = load(find("chamber", chamber), ChamberFile), load(find("mix", "demo-60"), Mix)
    found = everyday.look_ahead(phase, place, mix, rows, outdoor)
    assert found is not None
    return found


@pytest.fixture(scope="module")
def days() -> tuple[FillingRow, ...]:
    return load_filling("days")


def colder(rows: tuple[FillingRow, ...], by_K: float) -> tuple[FillingRow, ...]:
    """The same boards, from a colder mix."""
    return tuple(row if row.degC is None or row.time_h == 0.0 else replace(row, degC=row.degC - by_K) for row in rows)


def test_a_trip_is_what_came_through_one_opening_and_the_inventory_is_none() -> None:
    rows = (
        FillingRow(time_h=0.0, what="place", bay=1, level=1, tonnes=1.0, degC=32.0),
        FillingRow(time_h=1.0, what="open", bay=1),
        FillingRow(time_h=1.001, what="take", bay=1, level=1),
        FillingRow(time_h=1.002, what="place", bay=1, level=1, tonnes=1.5, degC=20.0),
        FillingRow(time_h=1.003, what="place", bay=1, level=2, tonnes=1.5, degC=21.0),
        FillingRow(time_h=1.02, what="close", bay=1),
        FillingRow(time_h=2.0, what="place", bay=2, level=1, tonnes=1.0, degC=25.0),
    )
    first, second = everyday.trips_of(rows)
    assert (first.bay, first.places, first.shut_s) == (1, ((1.5, 20.0), (1.5, 21.0)), 3672.0)
    assert (second.bay, second.time_s, second.shut_s) == (2, 7200.0, 7200.0)


def test_the_demo_made_for_it_is_found_able_and_a_day_is_counted_once(days: tuple[FillingRow, ...]) -> None:
    found = ahead("demo-standing", days)
    assert everyday.notes(found) == []
    assert found.day.tonnes == pytest.approx(120.0, abs=0.01)
    assert len(found.trips) == 72
    assert "120 t of" in everyday.text(found)


def test_a_cold_mix_is_told_with_what_would_help(days: tuple[FillingRow, ...]) -> None:
    cold = colder(days, 9.0)
    found = ahead("demo-standing", cold)
    said = everyday.notes(found)
    assert any("pull their cells" in one and f"{found.least_degC:.1f} degC or more" in one for one in said)
    warmed = colder(cold, min(d for _, d in found.pull.trip.places) - found.least_degC)
    assert everyday.notes(ahead("demo-standing", warmed)) == []


def test_too_little_air_too_little_heat_and_a_warm_day_are_told(days: tuple[FillingRow, ...]) -> None:
    said = " ".join(everyday.notes(ahead("demo-north", colder(days, 12.0), [(30.0, 60.0)])))
    assert "kg/s of air through more outlets" in said
    assert "the chamber will cool in the shift" in said
    assert "the chamber will warm up" in said


def test_nothing_that_comes_in_is_no_estimate() -> None:
    phase = everyday.standing_phase(load(find("recipe", "standing"), Recipe))
    assert phase is not None
    place, mix = load(find("chamber", "demo-north"), ChamberFile), load(find("mix", "demo-60"), Mix)
    rows = (FillingRow(time_h=0.0, what="place", bay=1, level=1, tonnes=1.0, degC=32.0),)
    assert everyday.look_ahead(phase, place, mix, rows, MILD) is None
    assert everyday.standing_phase(load(find("recipe", "gentle"), Recipe)) is None
