"""Pass, deviation or fail, with reasons, after rules that the quality manager owns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from controller.config.rules import VerdictRules
from controller.report.marks import counted


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """What the rules look at. None = not known, which no rule holds against the cycle but the one that needs it."""

    trips: Sequence[str]
    invariants_broken: int
    finished: bool
    board_film_kg_per_m2: float | None
    core_degC_max: float | None
    in_band_pct: float | None
    hold_hours: float
    drying_kg_per_m2h: float | None
    ready_late_h: float | None
    outages: int
    bypasses: Sequence[str]
    drives_in_hand: Sequence[str]
    dew_margin_K: float | None = None  # smallest of the hold, where nobody saw the boards
    standing_drying_kg_per_m2h: float | None = None  # of a standing climate, in place of drying_kg_per_m2h...
    settled_off_K: float | None = None  # ...settled air from what was asked...
    door_recovery_min: float | None = None  # ...and how long a bay took after its door, inf = longer than was looked


def judge(rules: VerdictRules, found: Findings) -> tuple[str, list[str]]:
    """(verdict, reasons): "fail" beats "deviation" beats "pass"; every rule that decided is named with its figures."""
    failures = _failures(rules, found)
    deviations = _deviations(rules, found)
    if failures:
        return "fail", failures + deviations
    if deviations:
        return "deviation", deviations
    return "pass", []


def _failures(rules: VerdictRules, found: Findings) -> list[str]:
    reasons = []
    if rules.fail_on_trip and found.trips:
        reasons.append("tripped: " + ", ".join(found.trips))
    if rules.fail_on_broken_invariant and found.invariants_broken:
        reasons.append(f"{found.invariants_broken} invariants broken")
    if over(found.board_film_kg_per_m2, rules.board_film_kg_per_m2_max):
        reasons.append(f"boards wet: {found.board_film_kg_per_m2} > {rules.board_film_kg_per_m2_max} kg/m2")
    if over(found.core_degC_max, rules.core_degC_max):
        reasons.append(f"product core {found.core_degC_max} > {rules.core_degC_max} degC")
    return reasons


def _deviations(rules: VerdictRules, found: Findings) -> list[str]:
    reasons = []
    if not found.finished:
        reasons.append("the recipe did not run to its end: it was stopped, by a person or by the hours it was given")
    if found.hold_hours < rules.hold_hours_min:
        reasons.append(f"hold lasted {found.hold_hours:.1f} h < {rules.hold_hours_min:g} h")
    elif found.in_band_pct is None or found.in_band_pct < rules.in_band_pct_min:
        reasons.append(f"in band {found.in_band_pct} % < {rules.in_band_pct_min:g} % of the hold")
    if found.dew_margin_K is not None and found.dew_margin_K < rules.dew_margin_K_min:
        reasons.append(f"dew margin down to {found.dew_margin_K:.2f} K < {rules.dew_margin_K_min:g} K in the hold")
    if over(found.drying_kg_per_m2h, rules.drying_kg_per_m2h_max):
        reasons.append(f"drying {found.drying_kg_per_m2h} > {rules.drying_kg_per_m2h_max:g} kg/m2h on average")
    if over(found.ready_late_h, rules.ready_late_h_max):
        reasons.append(f"ready {found.ready_late_h:.1f} h later than forecast")
    if over(found.standing_drying_kg_per_m2h, rules.standing_drying_kg_per_m2h_max):
        limit = rules.standing_drying_kg_per_m2h_max
        reasons.append(f"drying {found.standing_drying_kg_per_m2h} > {limit:g} kg/m2h on average")
    if over(found.settled_off_K, rules.settled_off_K_max):
        reasons.append(f"settled air up to {found.settled_off_K} K off > {rules.settled_off_K_max:g} K")
    if over(found.door_recovery_min, rules.door_recovery_min_max):
        took = "more than 15" if found.door_recovery_min == inf else f"{found.door_recovery_min:g}"
        reasons.append(f"a bay took {took} min to recover from its door > {rules.door_recovery_min_max:g} min")
    if rules.deviation_on_outage and found.outages:
        reasons.append(counted(found.outages, "outage"))
    if rules.deviation_on_bypass and found.bypasses:
        reasons.append("overridden by hand: " + ", ".join(found.bypasses))
    if rules.deviation_on_drive_in_hand and found.drives_in_hand:
        reasons.append("in hand at the panel: " + ", ".join(found.drives_in_hand))
    return reasons


def over(figure: float | None, limit: float) -> bool:
    """Whether a known figure is above its limit."""
    return figure is not None and figure > limit
