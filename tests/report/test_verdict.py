"""The verdict: each rule alone decides, and names its figures."""

from dataclasses import replace
from math import inf

import pytest

from controller.config.rules import VerdictRules
from controller.report.verdict import Findings, judge

RULES = VerdictRules(
    fail_on_trip=True,
    fail_on_broken_invariant=True,
    board_film_kg_per_m2_max=0.005,
    core_degC_max=60.0,
    in_band_pct_min=98.0,
    hold_hours_min=4.0,
    dew_margin_K_min=-0.2,
    drying_kg_per_m2h_max=0.02,
    ready_late_h_max=1.5,
    standing_drying_kg_per_m2h_max=0.025,
    settled_off_K_max=1.0,
    door_recovery_min_max=10.0,
    deviation_on_outage=True,
    deviation_on_bypass=True,
    deviation_on_drive_in_hand=True,
)
CLEAN = Findings(
    trips=(),
    invariants_broken=0,
    finished=True,
    board_film_kg_per_m2=0.0,
    core_degC_max=34.0,
    in_band_pct=99.0,
    hold_hours=9.0,
    drying_kg_per_m2h=0.01,
    ready_late_h=0.2,
    outages=0,
    bypasses=(),
    drives_in_hand=(),
)


def test_a_clean_cycle_passes_without_a_reason():
    assert judge(RULES, CLEAN) == ("pass", [])


@pytest.mark.parametrize(
    ("change", "verdict", "word"),
    [
        ({"trips": ("TZS-103",)}, "fail", "TZS-103"),
        ({"invariants_broken": 2}, "fail", "2 invariants"),
        ({"board_film_kg_per_m2": 0.006}, "fail", "0.006"),
        ({"core_degC_max": 61.0}, "fail", "61.0"),
        ({"finished": False}, "deviation", "did not run to its end"),
        ({"in_band_pct": 97.9}, "deviation", "97.9"),
        ({"in_band_pct": None}, "deviation", "in band"),
        ({"hold_hours": 3.0}, "deviation", "3.0 h < 4 h"),
        ({"dew_margin_K": -0.96}, "deviation", "-0.96 K < -0.2 K"),
        ({"drying_kg_per_m2h": 0.021}, "deviation", "0.021"),
        ({"ready_late_h": 2.0}, "deviation", "2.0 h later"),
        ({"drying_kg_per_m2h": None, "standing_drying_kg_per_m2h": 0.026}, "deviation", "0.026 > 0.025"),
        ({"settled_off_K": 1.2}, "deviation", "1.2 K off > 1 K"),
        ({"door_recovery_min": 12.0}, "deviation", "took 12 min"),
        ({"door_recovery_min": inf}, "deviation", "took more than 15 min"),
        ({"outages": 1}, "deviation", "outage"),
        ({"bypasses": ("TT-110 forced",)}, "deviation", "TT-110 forced"),
        ({"drives_in_hand": ("fan",)}, "deviation", "fan"),
    ],
)
def test_each_rule_alone_decides_and_names_its_figures(change, verdict, word):
    decided, reasons = judge(RULES, replace(CLEAN, **change))
    assert decided == verdict
    assert len(reasons) == 1
    assert word in reasons[0]


def test_a_failure_is_named_before_the_deviations_beside_it():
    decided, reasons = judge(RULES, replace(CLEAN, trips=("FS-101",), outages=1))
    assert decided == "fail"
    assert "FS-101" in reasons[0]
    assert len(reasons) == 2
