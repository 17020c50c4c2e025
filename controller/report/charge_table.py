"""The charge table of a report: what came to which place and when, when it left, how old and how wet it was then.

From the journal, so believed; of a simulated chamber the true wetting stands beside it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from controller.report.recorded import Recorded

SAME_H = 0.05  # an order follows the boards in the same scan; model and record begin a few scans apart


@dataclass(slots=True)
class Charged:
    """Boards on one place. Hours after the start. in_h None: entered before the cycle began; out_h None: still there.

    own_h, age_h, ready, wetted_kg_per_m2: as believed when they left. true_kg_per_m2: wetting in the chamber model.
    """

    bay: int
    level: int
    tonnes: float
    mix: str
    in_h: float | None
    in_degC: float | None
    out_h: float | None = None
    own_h: float | None = None
    age_h: float | None = None
    ready: bool | None = None
    wetted_kg_per_m2: float | None = None
    true_kg_per_m2: float | None = None


def charged(recorded: Recorded) -> list[Charged]:
    """Every place that was filled or emptied during the cycle, in the order of coming; empty where none was."""
    found: list[Charged] = []
    standing: dict[tuple[int, int], Charged] = {}
    for row in recorded.journal:
        if row.kind not in ("charge", "discharge"):
            continue
        data, at_h = row.data, recorded.hours(row.utc_ms)
        place = (int(data["bay"]), int(data["level"]))
        if row.kind == "charge":
            there = Charged(*place, float(data["tonnes"]), str(data["mix"]), at_h, float(data["degC"]))
            standing[place] = there
            found.append(there)
            continue
        there = standing.pop(place) if place in standing else _before(place, data, found)
        there.out_h, there.age_h = at_h, float(data["age_h"])
        there.own_h = None if there.in_h is None else float(data["own_h"])  # it began anew when they were entered
        there.ready, there.wetted_kg_per_m2 = bool(data["ready"]), float(data["wetted_kg_per_m2"])
    _with_truth(found, (recorded.summary.get("standing") or {}).get("stays", ()))
    return sorted(found, key=lambda one: (one.in_h is not None, one.in_h or 0.0, one.bay, one.level))


def _before(place: tuple[int, int], data: Mapping[str, Any], found: list[Charged]) -> Charged:
    """Boards of which only the leaving is in this cycle."""
    there = Charged(*place, float(data["tonnes"]), str(data["mix"]), None, float(data["in_degC"]))
    found.append(there)
    return there


def _with_truth(found: list[Charged], stays: Sequence[Mapping[str, Any]]) -> None:
    """Beside what was believed, what the chamber model knows of the same boards."""
    true = {(stay["bay"], stay["level"], round(stay["in_h"] / SAME_H)): stay["wetted_kg_per_m2"] for stay in stays}
    for one in found:
        if one.in_h is None:
            continue
        near = round(one.in_h / SAME_H)
        known = [true[one.bay, one.level, n] for n in (near, near - 1, near + 1) if (one.bay, one.level, n) in true]
        one.true_kg_per_m2 = known[0] if known else None
