"""Cases of a standing climate: the estimate follows what comes in, and each line says its own figures."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from controller.rig.bench import cases as standing_cases
from controller.rig.bench.cases import CASES, HEAD, estimated, measured, moves_of, row


def block(**doors: Any) -> dict[str, Any]:
    return {
        "settled_air": {"off_K_max": 0.7, "outside_pct": 0.0123},
        "doors": {"recovery_min_max": 3.2, "late": 0, "judged": 36, **doors},
        "newcomers": {"wetted_kg_per_m2": {"mean": 0.06}},
        "turnover": {"energy_kWh_per_t": 2.2},
    }


def test_colder_mixes_pull_more_and_the_demo_is_the_filling_that_ships(tmp_path: Path) -> None:
    falls = {case.degC: estimated(case, tmp_path).pull.fall_K for case in CASES if case.site == "demo-standing"}
    assert falls[29.0] < falls[26.0] < falls[20.0]
    demo = [move for move in standing_cases.demo.demo(tmp_path).scene.filling if move.time_s < 86_400.0]
    ours = [move for move in moves_of(CASES[0]) if move.time_s < 86_400.0]
    assert [(m.what, m.bay, m.level) for m in demo] == [(m.what, m.bay, m.level) for m in ours]


def test_a_line_says_how_soon_bays_recover_or_how_many_do_not(tmp_path: Path) -> None:
    ahead = estimated(CASES[0], tmp_path)
    kept, late = row(CASES[0], ahead, block()), row(CASES[0], ahead, block(recovery_min_max=None, late=4))
    assert len(kept) == len(HEAD)
    assert kept[2:5] == ("0.70 K", "0.0123 %", "3.2 min at most")
    assert late[4] == "4 of 36 later than 10 min"


def test_a_case_is_run_with_its_own_weather_and_site(tmp_path: Path) -> None:
    """Half an hour, before the first door: enough to see that it runs where it should."""
    found = measured(CASES[1], tmp_path, hours=0.5)
    assert found["settled_air"]["off_K_max"] == pytest.approx(0.3, abs=0.3)
    assert found["doors"]["opened"] == 0
    assert found["turnover"]["in_t"] == 0.0
