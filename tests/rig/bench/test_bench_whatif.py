"""Rows of the what-if cases: which are run, what they say, how they are printed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from controller.rig.bench import bench
from controller.rig.bench import whatif as other
from controller.rig.bench.rows import judge

SUMMARY: dict[str, Any] = {
    "truth": {
        "hold": {
            "hours": 6.4, "temperature_degC": {"mean": 29.3, "off_mean_max": 0.24, "spread_p95": 0.38},
            "rh_pct": {"min": 95.5},
        },
        "board_film_kg_per_m2_max": 0.0003,
    },
    "ready_h": {"forecast": 21.2, "actual": None},
    "energy_kWh": {"heat": 25.0, "fan": 96.0},
    "water_kg": {"fog": 3.0},
    "closure": {"energy_rel": 1e-12, "water_rel": 2e-12},
    "invariants_broken": 0,
    "verdict": "deviation",
    "reasons": ["hold lasted 0.1 h < 4 h"],
    "alarms": [
        {"text": "heat works against the vent: the product gives off", "from_s": 3600.0},
        {"text": "heat works against the vent: the product gives off", "from_s": 7200.0},
    ],
    "what_if": [{"name": "insulation-wet", "said": "walls lose 2.5 times the heat"}],
}  # fmt: skip


def test_what_ifs_are_measured_only_when_asked_for_by_name() -> None:
    usual = {target.name for target in bench.targets(quick=False, full=True)}
    asked = bench.targets(quick=False, what_ifs=True)
    assert asked == list(other.targets())
    assert not usual & {target.name for target in asked}
    assert {target.name.split(", ", 1)[1].split(":")[0] for target in asked} == set(other.cases())


def test_rows_of_a_case_come_from_its_summary_with_what_the_controller_said() -> None:
    rows = other.rows_of("insulation-wet", SUMMARY)
    names = {target.name for target in other.targets() if target.name.startswith(other.head("insulation-wet") + ": ")}
    assert set(rows) == names
    head = other.head("insulation-wet")
    assert rows[f"{head}: heat and fan"].value == 121.0
    assert rows[f"{head}: books closure"].value == 2e-12
    assert rows[f"{head}: ready"].value is None
    said = rows[f"{head}: ready"].note
    assert said == "deviation (hold lasted 0.1 h < 4 h); heat works against the vent (1.0 h, 2 times)"


def test_table_has_a_line_a_case_and_says_how_much_it_is_and_what_is_missed() -> None:
    found = other.rows_of("insulation-wet", {**SUMMARY, "invariants_broken": 2})
    rows = [judge(target, found[target.name]) for target in other.targets() if target.name in found]
    text = other.table(rows)
    lines = text.splitlines()
    assert lines[1].split() == [
        "insulation-wet", "29.3", "0.24", "0.38", "95.5", "0.0003", "121", "3", "6.4", "21.2", "-",
    ]  # fmt: skip
    assert "    walls lose 2.5 times the heat" in lines
    assert "    MISSED: invariants broken 2.0" in lines


def test_only_the_wanted_cases_are_run(tmp_path: Path) -> None:
    assert other.figures(tmp_path, {"gentle: hold in 24 h"}, lambda fraction, note: None) == {}
