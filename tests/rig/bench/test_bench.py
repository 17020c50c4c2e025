"""When a row of the bench holds, what it prints, which rows are run. Nothing is measured in here."""

from __future__ import annotations

import json

import pytest

from controller.rig.bench import bench
from controller.rig.bench import standing as bench_standing
from controller.rig.bench import truth as bench_truth
from controller.rig.bench.rows import Measured, Target, as_json, chosen, judge, table

FAST = Target(name="a day", unit="s", must=7.0, dream=4.0, per_s=1.0)
MOIST = Target(name="RH min", unit="%", must=94.0, dream=95.0, at_least=True, of_hold=True)


@pytest.mark.parametrize(
    ("value", "holds"), [(6.9, True), (7.0, True), (7.1, False), (None, False), (float("nan"), False)]
)
def test_at_most_is_reached_from_below_and_never_by_nothing(value: float | None, holds: bool) -> None:
    assert judge(FAST, Measured(value=value)).holds is holds


@pytest.mark.parametrize(("value", "holds"), [(93.9, False), (94.0, True), (97.0, True)])
def test_at_least_is_reached_from_above(value: float, holds: bool) -> None:
    assert judge(MOIST, Measured(value=value), hold_h=9.0).holds is holds


def test_a_short_hold_fails_every_row_taken_over_it_and_says_why() -> None:
    short = judge(MOIST, Measured(value=99.0), hold_h=3.9)
    assert not short.holds
    assert "hold of 3.9 h" in short.note
    assert judge(MOIST, Measured(value=99.0), hold_h=4.0).holds
    assert judge(FAST, Measured(value=1.0), hold_h=0.0).holds, "speed has nothing to do with the hold"


def test_a_row_without_a_must_is_only_reported() -> None:
    row = judge(Target(name="seen", dream=1.0), Measured(value=5.0))
    assert row.holds
    assert row.must is None


def test_ratio_is_time_over_the_calibration_loop_whatever_the_unit() -> None:
    step = Target(name="step", unit="us", must=15.0, per_s=1e6)
    assert judge(step, Measured(value=8.0), 0.004).ratio == pytest.approx(8e-6 / 0.004)
    assert judge(FAST, Measured(value=8.0), 0.004).ratio == pytest.approx(2000.0)
    assert judge(MOIST, Measured(value=96.0), 0.004, 9.0).ratio is None


def test_rows_are_chosen_by_any_part_of_their_name() -> None:
    assert chosen([FAST, MOIST], "rh") == [MOIST]
    assert chosen([FAST, MOIST], "") == [FAST, MOIST]
    assert chosen([FAST, MOIST], "nothing") == []


def test_json_has_the_agreed_keys_and_no_nan() -> None:
    rows = [judge(FAST, Measured(value=float("inf"))), judge(MOIST, Measured(value=96.0, note="seen"), hold_h=9.0)]
    found = json.loads(json.dumps(as_json(rows, 0.004), allow_nan=False))
    assert found["holds"] is False
    assert {"name", "value", "must", "dream", "floor", "ratio", "holds", "unit", "note"} <= set(found["rows"][0])


def test_table_shows_which_way_a_limit_is_meant_and_what_is_missed() -> None:
    rows = [judge(FAST, Measured(value=9.0)), judge(MOIST, Measured(value=95.5), hold_h=9.0)]
    _, slow, moist = table(rows).splitlines()
    assert "<= 7" in slow
    assert "NO" in slow
    assert ">= 94" in moist
    assert "ok +" in moist


def test_every_row_has_a_name_of_its_own_and_quick_asks_nothing_of_the_hold() -> None:
    names = [target.name for target in bench.targets(quick=False)]
    assert len(names) == len(set(names))
    assert not any(target.of_hold for target in bench.targets(quick=True))
    assert {"gentle", "steady"} == set(bench_truth.RECIPES)


def test_a_dream_is_never_easier_than_its_must() -> None:
    for target in bench.targets(quick=False):
        if target.must is not None and target.dream is not None:
            assert (target.dream >= target.must) if target.at_least else (target.dream <= target.must), target.name


def test_every_row_of_the_everyday_mode_comes_from_its_own_figure() -> None:
    """A block of distinct figures: none may stand in two rows, and each row must hold by its own."""
    block = {
        "settle_h": 8.0,
        "settled_air": {"off_K_max": 0.7, "min_degC": 31.3, "max_degC": 32.6, "off_K_p95": 0.4, "outside_pct": 0.5,
                        "left_out_pct": 4.0, "rh_pct": {"mean": 96.0, "min": 87.0}},
        "settled_board_film_kg_per_m2_max": 0.001,
        "doors": {"recovery_min_max": 3.0, "judged": 72, "open_s_mean": 60.0},
        "newcomers": {"count": 216, "degC": [27.0, 29.0], "wetted_kg_per_m2": {"mean": 0.06, "max": 0.11}},
        "turnover": {"in_t": 360.0, "days": 3.0, "energy_kWh_per_t": 2.2, "fog_kg_per_t": 3.6},
    }  # fmt: skip
    found = bench_standing.rows(block)
    assert [found[target.name].value for target in bench_standing.TARGETS[:-1]] == [
        0.7, 99.5, 0.001, 3.0, 96.0, 0.06, 120.0, 2.2, 3.6,
    ]  # fmt: skip
    held = {target.name: judge(target, found[target.name], hold_h=72.0).holds for target in bench_standing.TARGETS[:-1]}
    assert [name for name, holds in held.items() if not holds] == [bench_standing.TARGETS[1].name]
