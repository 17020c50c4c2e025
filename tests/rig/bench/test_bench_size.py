"""Larger chambers of the bench are real ones; the chamber model alone lives a recorded cycle again to the bit."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.config.find import find
from controller.rig.bench import size as bench_size
from controller.rig.bench import speed as bench_speed
from controller.rig.bench.size import ALONE, alone_figures, deep, large
from controller.rig.bench.stiff import LONG_S, Way, kept, longest, quickest
from controller.rig.modelfiles import read
from controller.rig.plant import scene
from plantsim.chamber import Chamber
from plantsim.weather import Weather

USUAL = read(find("plant", "demo-north")).value


def test_a_chamber_of_12_bays_and_16_levels_lives_and_its_books_close() -> None:
    params = large(USUAL)
    chamber = Chamber(params, charge=scene(tonnes=params.product.nominal_t).charge,
                      weather=Weather.constant(8.0, 80.0), seed=1)  # fmt: skip
    for _ in range(600):
        chamber.step(bench_size.OUTPUTS)
    assert chamber.state.air.shape[1] == 192
    assert params.product.nominal_t == pytest.approx(120.0 * 192 / 72)
    assert max(abs(chamber.books.energy_closure), abs(chamber.books.water_closure)) < 1e-9


def test_three_cells_of_depth_are_three_times_as_many() -> None:
    chamber = bench_size._chamber(deep(USUAL))
    assert chamber.state.air.shape[1] == 216


def test_the_model_alone_comes_to_the_state_it_had_in_the_cycle_and_says_when_not(tmp_path: Path) -> None:
    ran, _, _ = bench_speed.day("gentle", "direct", 0.1, tmp_path / "day", lambda fraction, note: None)
    row = alone_figures(ran)[ALONE]
    assert row.value is not None
    assert row.value > 0.0
    assert row.note.startswith("360 steps")
    ran.plant.log.rows[359] += 1e-9
    other = alone_figures(ran)[ALONE]
    assert other.value is None
    assert "another state" in other.note


def test_of_the_ways_only_those_within_the_error_count() -> None:
    ways = [Way("a", 1.0, 0.2), Way("b", 3.0, 0.05), Way("c", 2.0, 0.01), Way("d", 9.0, 0.001)]
    assert longest(iter(ways)) == ways[1]
    assert quickest(iter(ways)) == ways[2]
    assert quickest(iter(ways[:1])) is None


def test_outputs_kept_for_a_minute_are_those_of_its_begin() -> None:
    changes = [(0.0, (1.0,)), (59.0, (2.0,)), (60.0, (3.0,)), (61.0, (4.0,))]
    minutes = kept(changes, 60.0)
    assert [when for when, _ in minutes] == [60.0 * i for i in range(round(LONG_S / 60.0))]
    assert [outputs for _, outputs in minutes[:3]] == [(1.0,), (3.0,), (4.0,)]
