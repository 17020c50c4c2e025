"""The table at the end of a cycle: it holds figures against the rules of the verdict, and leaves no part out."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.config.rules import verdict_rules
from controller.report import table


def summary() -> dict[str, Any]:
    """The blocks of a summary that its rows are made from."""
    hold = {
        "start_h": 16.8, "hours": 7.2, "in_band_pct": 99.0, "rh_pct": {"accept": 94.0, "min": 95.2, "mean": 96.2},
        "temperature_degC": {"floor": 28.0, "ceiling": 40.0, "mean": 29.4, "off_mean_max": 0.17},
        "dew_margin_K": {"min": 0.08, "surface": "envelope bay 1 level 1"},
    }  # fmt: skip
    truth = {
        "hold": hold, "board_film_kg_per_m2_max": 0.004, "drying_kg_per_m2h": {"mean": 0.019},
        "product": {"core_degC_max": 31.3, "equivalent_age_h": {"min": 33.6, "max": 33.8}},
    }  # fmt: skip
    return {
        "truth": truth, "believed": {"product": {}}, "load_t": 120.0, "ready_h": {"actual": 22.0}, "ready_age_h": 30.0,
        "energy_kWh": {"heat": 27.5, "fan": 96.0, "other": 3.6}, "per_tonne": {"energy_kWh": 1.06},
        "water_kg": {"fog": 0.4}, "fighting": {"kWh": 1.6, "hours": 1.2},
    }  # fmt: skip


def test_every_limit_is_the_one_that_the_verdict_judges_by(monkeypatch: pytest.MonkeyPatch) -> None:
    names = ("time in band", "wettest board", "drying of the product")
    assert [row[3] for row in table.rows(summary()) if row[0] in names] == ["ok", "ok", "ok"]
    stricter = replace(
        verdict_rules(), in_band_pct_min=99.5, board_film_kg_per_m2_max=0.003, drying_kg_per_m2h_max=0.015
    )
    monkeypatch.setattr(table, "verdict_rules", lambda: stricter)
    rows = {row[0]: (row[1], row[3]) for row in table.rows(summary())}
    assert [rows[name] for name in names] == [
        ("at least 99.5 %", "NO"), ("at most 0.003 kg/m2", "NO"), ("at most 0.015 kg/m2h", "NO"),
    ]  # fmt: skip


def test_the_energy_is_told_with_all_its_parts() -> None:
    spent = next(row[2] for row in table.rows(summary()) if row[0] == "energy")
    assert spent == "127 kWh (heat 28, fan 96, other 4); 1.1 kWh/t"
