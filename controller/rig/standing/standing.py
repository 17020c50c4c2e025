"""How well a standing climate was kept, in truth: settled air and boards, doors, newcomers, and what a tonne cost.

Settled air is every cell but those of a bay whose door was open within the last 15 minutes; settled boards are those
that have stood for `settle_h`. A bay has recovered when none of its cells is farther off than settled air may be. How
far and how late that is, the rules of the verdict say.
"""

from __future__ import annotations

from math import inf
from typing import Any

import numpy as np

from controller.config.rules import verdict_rules
from controller.core.scan import ScanPlan
from controller.core.sequence.recipe import Recipe, band
from controller.report import kpis
from controller.rig.plant import Plant
from controller.rig.standing.watch import BIN_K, LEFT_OUT_S, LONG_S, Cell, Opening, Seen, Stay, Watch
from controller.rig.truth import Rows
from plantsim.truth import COLUMN

Block = dict[str, Any]


def watch(plant: Plant, plan: ScanPlan) -> Watch | None:
    """Something to look at a run with, when its recipe has a phase in which doors are daily work; else None."""
    standing = [n for n, phase in enumerate(plan.sequence.phases) if phase.on_door_stand and phase.kind == "hold"]
    if not standing:
        return None
    return Watch(plant, asked_degC(plan.sequence.recipe), plan.charges.settle_s, frozenset(standing))


def asked_degC(recipe: Recipe) -> float:
    """The middle of what its standing phase asks for."""
    phase = next(phase for phase in recipe.phases if phase.on_door == "standing" and phase.kind == "hold")
    return 0.5 * sum(band(phase))


def block(watch: Watch, rows: Rows, dt_s: float, hold: tuple[int, int]) -> Block:
    """The block `standing` of a summary. rows: steps x columns of the truth; hold: first step and one past the last."""
    seen, asked, settle_s = watch.finish(), watch.asked_degC, watch.settle_s
    part, late_min = rows[hold[0] : hold[1]], verdict_rules().door_recovery_min_max
    return {
        "asked_degC": asked,
        "settle_h": round(settle_s / 3600.0, 3),
        "limits": {"off_K": watch.off_K, "recovery_min": late_min},
        "settled_air": _air(seen, asked, watch.off_K, part),
        "settled_board_film_kg_per_m2_max": _largest(part, "settled_board_film_max_kg_per_m2"),
        "doors": _doors(seen, late_min),
        "newcomers": _newcomers(seen.stays, settle_s),
        "turnover": _turnover(seen.stays, rows, dt_s),
        "stays": [_stay(stay) for stay in sorted(seen.stays, key=lambda stay: (stay.in_s, stay.bay, stay.level))],
    }


def _air(seen: Seen, asked: float, off_K: float, part: Rows) -> Block:
    """Extremes at every step, the rest from samples of every judged cell."""
    count = int(seen.off.sum())
    outside = int(seen.off[round(off_K / BIN_K) :].sum())
    cells = np.cumsum(seen.off)
    p95 = None if count == 0 else round(float(np.searchsorted(cells, 0.95 * count) + 1) * BIN_K, 2)
    low = None if len(part) == 0 else round(float(part[:, COLUMN["settled_air_min_degC"]].min()), 3)
    high = _largest(part, "settled_air_max_degC", 3)
    off = None if low is None or high is None else round(max(high - asked, asked - low), 3)
    inside = (part[:, COLUMN["settled_air_min_degC"]] >= asked - off_K) & (
        part[:, COLUMN["settled_air_max_degC"]] <= asked + off_K
    )
    return {
        "min_degC": low,
        "max_degC": high,
        "off_K_max": off,
        "off_K_p95": p95,
        "outside_pct": None if count == 0 else round(100.0 * outside / count, 3),
        "all_inside_pct": None if len(part) == 0 else round(100.0 * float(inside.mean()), 3),
        "coldest": _cell(seen.coldest),
        "hottest": _cell(seen.hottest),
        "rh_pct": {
            "mean": round(seen.rh_sum / seen.rh_count, 2) if seen.rh_count else None,
            "min": round(seen.rh_min, 2) if seen.rh_count else None,
        },
        "left_out_pct": round(100.0 * seen.left_out / seen.samples, 2) if seen.samples else None,
    }


def _doors(seen: Seen, late_min: float) -> Block:
    """Recovery after every door that had time for it: not opened again, and the run went on long enough."""
    openings = seen.openings
    judged = [one for one in openings if one.over and not one.again]
    minutes = [recovery_min(one) for one in judged]
    known = [value for value in minutes if value is not None]
    return {
        "opened": len(openings),
        "open_s_mean": round(seen.open_s / len(openings), 1) if openings else None,
        "judged": len(judged),
        "opened_again": sum(one.again for one in openings),
        "recovery_min_max": round(max(known), 1) if known and len(known) == len(minutes) else None,
        "recovery_min_p95": kpis.digits(kpis.percentile(known, 95.0), 1),
        "late": sum(value is None or value > late_min for value in minutes),
        "coldest_degC": round(min(one.coldest_degC for one in openings), 2) if openings else None,
    }


def recovery_min(one: Opening) -> float | None:
    """Minutes from shutting until no cell of the bay was off any more; None when one still was at the end."""
    if one.outside_s >= one.shut_s + LEFT_OUT_S - LONG_S:
        return None
    return max(0.0, one.outside_s - one.shut_s) / 60.0


def _newcomers(stays: list[Stay], settle_s: float) -> Block:
    """Wetting of those that came in during the run."""
    came = [stay for stay in stays if stay.in_s > 0.0]
    wetted = [stay.wetted_kg_per_m2 for stay in came]
    degC = [stay.in_degC for stay in came]
    return {
        "count": len(came),
        "degC": [round(min(degC), 1), round(max(degC), 1)] if came else None,
        "wetted_kg_per_m2": {
            "mean": kpis.digits(kpis.mean(wetted), 4),
            "max": round(max(wetted), 4) if came else None,
        },
        "film_kg_per_m2_max": round(max(stay.film_kg_per_m2_max for stay in came), 4) if came else None,
        "left_unsettled": sum(stay.out_s - stay.in_s < settle_s for stay in came),
    }


def _turnover(stays: list[Stay], rows: Rows, dt_s: float) -> Block:
    """Energy and water for every tonne that came in; the chamber holds as much at the end as at the beginning."""
    came = sum(stay.tonnes for stay in stays if stay.in_s > 0.0)
    left = [stay for stay in stays if stay.out_s < inf]
    hours = dt_s / 3600.0
    energy = sum(float(rows[:, COLUMN[name]].sum()) for name in ("heat_kW", "fan_kW", "frame_kW")) * hours
    fog = float(rows[:, COLUMN["fog_kg_per_h"]].sum()) * hours
    return {
        "days": round(len(rows) * dt_s / 86_400.0, 3),
        "in_t": round(came, 2),
        "out_t": round(sum(stay.tonnes for stay in left), 2),
        "out_age_h_min": round(min(stay.age_h for stay in left), 1) if left else None,
        "energy_kWh_per_t": round(energy / came, 2) if came else None,
        "fog_kg_per_t": round(fog / came, 2) if came else None,
    }


def _stay(stay: Stay) -> Block:
    """One line of the charge table, hours since the run began. in_h 0: it was there already."""
    gone = stay.out_s < inf
    return {
        "bay": stay.bay, "level": stay.level, "tonnes": round(stay.tonnes, 3), "in_h": round(stay.in_s / 3600.0, 3),
        "in_degC": round(stay.in_degC, 2), "out_h": round(stay.out_s / 3600.0, 3) if gone else None,
        "age_h": round(stay.age_h, 1),
        "wetted_kg_per_m2": round(stay.wetted_kg_per_m2, 4) if stay.in_s > 0.0 else None,
    }  # fmt: skip


def _cell(cell: Cell | None) -> Block | None:
    if cell is None:
        return None
    place = {"bay": cell.bay, "level": cell.level, "at_h": round(cell.time_s / 3600.0, 2)}
    return {"degC": round(cell.degC, 3), **place}


def _largest(part: Rows, name: str, places: int = 6) -> float | None:
    return None if len(part) == 0 else round(float(part[:, COLUMN[name]].max()), places)
