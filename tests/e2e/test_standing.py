"""The everyday mode: a chamber filled and emptied all day keeps one climate, in truth and over every cell."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from controller.cli.main import main

DEMO = [
    "cycle", "--chamber", "demo-standing", "--plant", "demo-standing", "--recipe", "standing", "--filling", "days",
    "--mix-temperature", "32", "--outdoor", "8/80", "--link", "direct", "--no-report", "--json",
]  # fmt: skip


def stood(hours: float, scan_s: float, out: Path, *more: str) -> tuple[int, dict[str, Any]]:
    """Exit code and summary of the demo, so many hours from 5 o'clock."""
    code = main([*DEMO, "--hours", str(hours), "--scan", str(scan_s), "--out", str(out), *more])
    summary: dict[str, Any] = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    return code, summary


def require_kept(block: dict[str, Any]) -> None:
    """What is asked of a standing climate."""
    assert block["settled_air"]["off_K_max"] <= 1.0
    assert block["settled_air"]["all_inside_pct"] == 100.0
    assert block["settled_board_film_kg_per_m2_max"] <= 0.005
    assert block["doors"]["late"] == 0
    assert block["doors"]["recovery_min_max"] <= 10.0


def test_a_morning_of_boards_and_doors_is_kept_within_a_kelvin(tmp_path: Path) -> None:
    """Four and a half hours from 5 o'clock: ten doors, 30 places emptied and filled anew."""
    code, summary = stood(4.5, 2.0, tmp_path)
    block = summary["standing"]
    require_kept(block)
    assert code == 0
    assert summary["verdict"] == "pass"
    assert block["doors"]["judged"] >= 9
    assert block["newcomers"]["count"] == 3 * block["doors"]["opened"] == 30
    assert 0.01 < block["newcomers"]["wetted_kg_per_m2"]["mean"] < 0.2
    assert block["turnover"]["in_t"] == pytest.approx(50.0)
    assert summary["per_tonne"]["energy_kWh"] == block["turnover"]["energy_kWh_per_t"]
    assert summary["closure"]["energy_rel"] < 1e-9
    assert summary["closure"]["water_rel"] < 1e-9


@pytest.mark.slow
def test_three_days_with_a_shift_of_120_t_each_are_kept_within_a_kelvin(tmp_path: Path) -> None:
    code, summary = stood(72.0, 1.0, tmp_path)
    block = summary["standing"]
    require_kept(block)
    assert code == 0
    assert block["doors"]["judged"] == 72
    assert block["newcomers"]["count"] == 216
    assert block["turnover"]["in_t"] == pytest.approx(360.0)
    assert block["turnover"]["energy_kWh_per_t"] < 4.0
    assert summary["invariants_broken"] == 0
