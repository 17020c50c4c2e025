"""Validation against measured series, proven on series that were made here: no measured data are needed."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from verification import house, roof
from verification.validate import validate


def test_without_data_it_says_not_validated_and_never_passed() -> None:
    by_name = {one.name: one for one in validate(None)}
    assert by_name[roof.NAME].state == by_name[house.NAME].state == "not validated"


def test_a_folder_without_the_series_says_which_file_is_missing(tmp_path: Path) -> None:
    by_name = {one.name: one for one in validate(tmp_path)}
    assert by_name[roof.NAME].state == "not validated"
    assert "roofleft_outside.csv" in by_name[roof.NAME].verdict


def weather(hours: int) -> tuple[np.ndarray, np.ndarray]:
    """A made year: (degC, %RH) an hour."""
    hour = np.arange(hours)
    T = 5.0 + 10.0 * np.sin(hour / 1400.0) + 4.0 * np.sin(2.0 * np.pi * hour / 24.0)
    return T, 80.0 + 12.0 * np.sin(hour / 190.0)


def test_the_roof_balance_finds_the_numbers_a_series_was_made_with(tmp_path: Path) -> None:
    hours = roof.FIT_HOURS + 800
    T, rh = weather(hours)
    air_T = T + 2.0 * np.sin(2.0 * np.pi * np.arange(hours) / 24.0)
    in_T, in_rh = np.full(hours, 21.0), np.full(hours, 40.0)
    outside, indoors = roof.moisture(T, rh), roof.moisture(in_T, in_rh)
    full = roof.moisture(air_T, np.full(hours, 100.0))
    W = roof.balance(np.array([3.0, 0.02, 1.5, 30.0]), outside, indoors, full, float(outside[0]))
    folder = tmp_path / "trh-1"
    folder.mkdir()
    for name, series in (
        ("roofleft_outside.csv", (T, rh)), ("roofmiddle_airtop.csv", (air_T, 100.0 * W / full)),
        ("indoor1.csv", (in_T, in_rh)),
    ):
        with (folder / name).open("w", newline="", encoding="utf-8") as file:
            rows = csv.writer(file)
            rows.writerow(("t", "T", "RH"))
            rows.writerows((f"{hour:06d}", a, b) for hour, (a, b) in enumerate(zip(*series, strict=True)))
    found = roof.compared(tmp_path)
    fitted, predicted = found.measures[0], found.measures[1]
    assert fitted.values == roof.FIT_HOURS
    assert fitted.rmse < 5.0  # Pa
    assert predicted.rmse < 8.0
    assert found.measures[2].rmse < 0.3 * found.measures[3].rmse


def test_condensation_holds_the_roof_at_saturation_and_comes_back_as_vapour() -> None:
    """Goal: no water is lost in the film. Method: warm moist air over a roof that turns cold, then warm again."""
    outside = np.full(40, 0.008)
    full = np.concatenate([np.full(20, 0.005), np.full(20, 0.02)])
    W = roof.balance(np.array([1.0, 1e-9, 0.5, 10.0]), outside, outside, full, 0.005)
    assert np.all(W[1:20] == pytest.approx(0.005, abs=1e-12))
    assert W[21] > 0.008  # the film dries into the air, which is wetter than what comes in


def test_the_two_node_room_keeps_its_heat_when_nothing_takes_it() -> None:
    n = 500
    flat = np.full(n, 20.0)
    values = np.array([2e6, 3e5, 1e-9, 1e-9, 100.0, 1e-9])
    T = house.two_nodes(values, np.zeros(n), np.zeros(n), flat, flat, flat, np.zeros(n), 20.0)
    assert np.ptp(T) < 1e-9
    heated = house.two_nodes(values, np.full(n, 100.0), np.zeros(n), flat, flat, flat, np.zeros(n), 20.0)
    mean = 100.0 * n * 600.0 / (2e6 + 3e5)
    ahead = 100.0 / 100.0 * (2e6 / 2.3e6) ** 2  # of the air before the mean, while both rise alike
    assert heated[-1] - 20.0 == pytest.approx(mean + ahead, rel=0.01)


def test_more_heat_makes_steeper_layers_in_the_model_room() -> None:
    assert house.gradient(800.0, 30.0, 14.0) > house.gradient(200.0, 30.0, 14.0) > 0.0
