"""Fillings made by rule: possible, repeatable, oldest out first, doors around them, temperatures and ages of entry."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import exp

import pytest

from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.filling import Filling, Move, impossible
from plantsim.params import PlantParams
from plantsim.schedule import Press, Trips, batch_fill, continuous
from plantsim.weather import Weather

STILL = Press(degC=24.0, hall_degC=18.0, lag_h=2.0)


def placed(filling: Filling) -> list[Move]:
    return [move for move in filling if move.what == "place"]


def opened_alone(filling: Filling) -> bool:
    """One door at a time, and product moves only through an open one of its own bay."""
    open_bay = 0
    for move in filling:
        if move.time_s == 0.0:
            continue  # what stands inside at the start
        if move.what == "open":
            assert open_bay == 0
            open_bay = move.bay
        else:
            assert move.bay == open_bay
            open_bay = 0 if move.what == "close" else open_bay
    return open_bay == 0


@pytest.mark.parametrize("order", ["bay", "level"])
@pytest.mark.parametrize("positions", [1, 3, 5, 12])
def test_a_batch_fill_fills_every_position_once_within_its_hours(order: str, positions: int):
    trips = Trips(order=order, positions=positions, door_s=60.0)  # type: ignore[arg-type]
    filling = batch_fill(6, 12, hours=3.0, trips=trips)
    assert impossible(filling, 6, 12) == []
    assert opened_alone(filling)
    assert len({(move.bay, move.level) for move in placed(filling)}) == len(placed(filling)) == 72
    assert filling[-1].time_s <= (3.0 + 0.1) * 3600.0 + 60.0
    assert len([move for move in filling if move.what == "open"]) == -(-12 // positions) * 6


def test_bays_left_empty_get_no_product():
    filling = batch_fill(3, 4, empty_bays=(2,))
    assert {move.bay for move in filling} == {1, 3}


def test_the_first_board_of_a_trip_has_waited_for_the_last_and_cooled_towards_the_hall():
    """Three positions a trip, one pressed every 10 min: at entry the first is 20 min older than the last."""
    filling = batch_fill(2, 3, hours=1.0, press=STILL, trips=Trips(ride_h=0.0))
    first, _, last = (move.batch for move in placed(filling)[:3])
    assert first is not None
    assert last is not None
    assert (first.degC, last.degC) == (pytest.approx(18.0 + 6.0 * exp(-1.0 / 3.0 / 2.0)), pytest.approx(24.0))
    halfway_K = 18.0 + 6.0 * exp(-1.0 / 6.0 / 2.0) + 273.15
    assert first.age_h == pytest.approx(1.0 / 3.0 * exp(40000.0 / 8.314 * (1.0 / 293.15 - 1.0 / halfway_K)))
    assert last.age_h == 0.0


def test_the_mix_drifts_through_a_shift_and_scatters_by_seed_only():
    def degC(press: Press, seed: int) -> list[float]:
        return [move.batch.degC for move in placed(batch_fill(6, 12, press=press, seed=seed)) if move.batch is not None]

    drifting = degC(Press(degC=20.0, drift_K_per_h=2.0, hall_degC=20.0), 1)
    assert drifting[-1] - drifting[0] == pytest.approx(2.0 * 3.0, abs=0.4)
    scattering = Press(scatter_K=0.5)
    assert degC(scattering, 5) == degC(scattering, 5)
    assert degC(scattering, 5) != degC(scattering, 6)


def test_mixes_are_pressed_one_after_the_other():
    filling = batch_fill(2, 3, press=Press(mixes=("a", "b")))
    names = [move.batch.mix for move in placed(filling) if move.batch is not None]
    assert names == ["a", "a", "a", "b", "b", "b"]


def test_continuous_filling_takes_the_oldest_out_for_the_newest():
    filling = continuous(6, 12, days=3, positions_a_day=36)
    assert impossible(filling, 6, 12) == []
    assert opened_alone(filling)
    since: dict[tuple[int, int], float] = {}
    for move in filling:
        place = (move.bay, move.level)
        if move.what == "place":
            since[place] = move.time_s
        elif move.what == "take":
            taken_s = since.pop(place)
            assert taken_s <= min([taken_s, *since.values()]) + 6.0, "of one trip, seconds apart"
    assert len([move for move in filling if move.what == "take"]) == 3 * 36


def test_a_full_chamber_begins_with_what_the_days_before_left():
    filling = continuous(6, 12, days=1, inside_degC=32.0)
    start = [move for move in filling if move.time_s == 0.0]
    ages = [move.batch.age_h for move in start if move.batch is not None]
    assert len(start) == 72
    # the last of yesterday entered at 14.1 h: 14.9 h before 5 o'clock, at 32 degC
    rate = exp(40000.0 / 8.314 * (1.0 / 293.15 - 1.0 / 305.15))
    assert min(ages) == pytest.approx(14.9 * rate, rel=0.01)
    assert max(ages) - min(ages) == pytest.approx(8.0 * rate, rel=0.06)
    assert all(move.batch.degC == 32.0 for move in start if move.batch is not None)
    assert all(move.time_s >= 3600.0 for move in filling if move.time_s > 0.0)
    empty = continuous(6, 12, days=1, full=False)
    assert [move.what for move in empty].count("place") == 72
    assert [move.what for move in empty].count("take") == 0


def test_a_car_makes_one_trip_after_the_other_however_late_the_first_is():
    filling = batch_fill(2, 4, hours=0.2, trips=Trips(positions=1, first_wait_h=1.0))
    assert opened_alone(filling)
    entries = [move.time_s for move in placed(filling)]
    assert entries == sorted(entries)
    assert entries[0] > 3600.0


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: batch_fill(2, 3, trips=Trips(positions=4)), r"4 positions a trip: must be 1 to 3"),
        (lambda: batch_fill(2, 3, trips=Trips(positions=3, door_s=20.0)), r"door_s 20\.0: a trip of 3 needs .* 36 s"),
        (lambda: continuous(2, 3, shift=(14.0, 6.0)), r"shift 14 to 6 h"),
        (lambda: continuous(2, 3, positions_a_day=7), r"7 positions a day: must be 1 to 6"),
        (lambda: continuous(6, 12, clock_h=10.0), r"clock_h 10: time 0 must lie after one shift and before the next"),
        (lambda: continuous(2, 3, clock_h=0.0, shift=(16.0, 24.0)), r"clock_h 0: time 0 must lie after"),
    ],
)  # fmt: skip
def test_what_cannot_be_scheduled_is_said(make: Callable[[], Filling], said: str):
    with pytest.raises(ValueError, match=said):
        make()


def test_a_chamber_lives_through_a_shift_with_closed_books():
    params = replace(PlantParams(), room=replace(PlantParams().room, bays=2, levels=4, dry_air_kg=81.6))
    press = Press(tonnes=15.0, scatter_K=0.5)
    filling = continuous(2, 4, days=1, shift=(1.0, 2.0), clock_h=0.5, press=press, trips=Trips(positions=2))
    weather = Weather.constant(8.0, 80.0)
    model = Chamber(params, charge=Charge(tonnes=0.0, mix_degC=32.0), weather=weather, seed=1, filling=filling)
    for _ in range(6000):
        model.step((1.0, 60.0, 1.0, 40.0, 0.0, 1.0, 0.0, 1.0))
    now = model.positions()
    assert now.occupied.all()
    assert now.inside_s.max() < 3600.0
    assert model.door_open_s().tolist() == [180.0, 180.0]
    assert abs(model.books.energy_closure) < 1e-12
    assert abs(model.books.water_closure) < 1e-12
