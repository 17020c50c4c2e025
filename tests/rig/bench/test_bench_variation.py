"""Which cases of the variation are run, what their rows say, and one of them for real."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from controller.config.find import find
from controller.config.loader import load
from controller.rig.bench import bench
from controller.rig.bench import truth as bench_truth
from controller.rig.bench import variation as away
from controller.rig.bench.rows import HOLD_LEAST_H, judge
from plantsim.params import PlantParams

VALUES: dict[str, float | None] = {
    away.FILM: 0.001, away.ABOVE: -3.0, away.OFF: 0.4, away.HOLD: 8.0, "RH min": 95.2, "RH mean": 96.1,
    "heat and fan": 120.0, "fog water": 3.0, "ready": 22.1, "forecast": 21.2, "end": 24.0,
    "max - min, largest": 0.61, "spread p95": 0.39, "mean in [floor, ceiling]": 100.0, "envelope film, most": 0.002,
    "drying, mean": 0.011, "equivalent age, (max - min) / mean": 0.7, "product spread p95": 0.58,
    "dew point outside its limits p95, measured": 0.03, "dew point outside its limits p95, truth": 0.04,
    "heating against venting": 12.5,
}  # fmt: skip


def case(name: str) -> away.Variation:
    return next(one for one in away.CASES if one.name == name)


def test_variation_is_measured_when_asked_for_only() -> None:
    usual = {target.name for target in bench.targets(quick=False)}
    full = {target.name for target in bench.targets(quick=False, full=True)}
    assert full - usual == {target.name for target in away.TARGETS}
    assert all(target.name.startswith(away.NAME) for target in away.TARGETS)


def test_only_the_cases_of_the_wanted_rows_are_run_and_a_comparison_brings_what_it_compares_with() -> None:
    assert [one.name for one in away.needed({f"{case('25/25 degC').head}: {away.OFF}"})] == ["25/25 degC"]
    assert [one.name for one in away.needed({f"{case('scan 2 s').head}: {away.SAME}"})] == ["scan 1 s", "scan 2 s"]
    assert away.needed({"gentle: hold in 24 h"}) == []
    assert away.needed({target.name for target in away.TARGETS}) == list(away.CASES)


def test_wetted_fraction_of_a_case_is_the_only_thing_that_differs_from_the_model_file() -> None:
    dry, wet = away.scene_of(case("wetted fraction 0.05")), away.scene_of(case("wetted fraction 0.3"))
    given = load(find("plant", "demo-north"), PlantParams)
    for one, share in ((dry, 0.05), (wet, 0.3)):
        assert one.params == replace(given, product=replace(given.product, wetted_fraction=share))
    empty = away.scene_of(case("bay 3 empty"))
    assert (empty.charge.empty_bays, empty.charge.tonnes, empty.params) == ((3,), 100.0, given)
    assert away.scene_of(case("25/25 degC")).params is None


def test_rows_carry_what_is_only_reported_in_the_note_of_the_hold() -> None:
    one = case("32/28 degC")
    rows = away.rows_of(one, VALUES)
    assert set(rows) == {target.name for target in away.TARGETS if target.name.startswith(one.head + ":")}
    note = rows[f"{one.head}: {away.HOLD}"].note
    for said in ("95.2 % min", "96.1 % mean", "ready at 22.1 h", "forecast 21.2 h", "120.0 kWh", "3.0 kg", "scan 2 s"):
        assert said in note
    rest = {target.name.removeprefix("gentle: ") for target in bench_truth.targets("gentle")}
    told_apart = {away.FILM, away.OFF, "hold in 24 h", "RH min", "RH mean", "heat and fan", "fog water"}
    assert all(f"{name} " in note for name in rest - told_apart), "every other row of gentle is told too"
    late = away.rows_of(one, {**VALUES, "ready": None})
    assert "not ready in 24.0 h" in late[f"{one.head}: {away.HOLD}"].note


def test_comparison_names_the_figure_that_is_furthest_in_its_tolerances() -> None:
    far = away.compared({**VALUES, away.OFF: 0.55, "RH min": 95.1}, VALUES)
    assert far.value == pytest.approx(1.5)
    assert away.OFF in far.note
    assert away.compared(VALUES, VALUES).value == 0.0
    assert away.compared({**VALUES, "ready": None}, {**VALUES, "ready": None}).value == 0.0
    assert away.compared({**VALUES, "ready": None}, VALUES).value is None


@pytest.mark.slow
def test_a_warm_day_keeps_its_musts(tmp_path: Path) -> None:
    """A real cycle at 25/25 degC: every row of the case holds, over a hold that is long enough to tell."""
    one = case("25/25 degC")
    names = {target.name for target in away.TARGETS if target.name.startswith(one.head + ":")}
    found, holds = away.figures(tmp_path, names, lambda fraction, note: None)
    assert holds[one.head] >= HOLD_LEAST_H
    rows = [judge(target, found[target.name], None, holds[one.head]) for target in away.TARGETS if target.name in names]
    assert len(rows) == 4
    assert [row.name for row in rows if not row.holds] == []
