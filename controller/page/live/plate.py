"""What stays while a cycle runs: names, units and places of everything whose numbers come with each picture."""

from __future__ import annotations

from typing import Any

from controller.core.scan import COMPUTED
from controller.page.live.bound import Bound
from controller.page.live.byhand import choices
from controller.page.live.places import ChamberPlace


def plate(place: ChamberPlace, bound: Bound, cycle: int) -> dict[str, Any]:
    """Plain data, sent once to a view; `values`, `contacts` and `outputs` of a picture stand in this order."""
    chamber, points = bound.chamber, bound.points
    doors = set(chamber.protection.doors)
    return {
        "id": place.id, "name": place.name or chamber.name, "text": place.text or chamber.text, "line": place.line,
        "cycle": cycle, "bays": chamber.bays, "levels": chamber.levels, "scan_s": bound.header.scan_s,
        "nominal_t": chamber.temperature.nominal_t, "ready_age_h": chamber.product.ready_age_h,
        "wanted_margin_K": chamber.climate.margin_K,
        "limits": {
            "degC_min": chamber.limits.temperature_degC_min, "degC_max": chamber.limits.temperature_degC_max,
            "product_degC_max": chamber.limits.product_degC_max, "load_t_max": chamber.load_t_max,
        },
        "probes": _probes(bound),
        "contacts": [
            {"tag": point.tag, "text": point.text, "normal": bool(point.normal), "door": point.tag in doors}
            for point in points
            if point.kind == "DI"
        ],
        "outputs": [
            {"tag": point.tag, "text": point.text, "kind": kind}
            for kind in ("AO", "DO")
            for point in points
            if point.kind == kind
        ],
        "computed": [{"tag": tag, "text": text, "unit": unit} for tag, text, unit in COMPUTED],
        "alarms": {row.tag: row.text for row in bound.plan.alarms.rows},
        "t_per_place_max": bound.plan.product.config.t_per_position_max,
        "mixes": sorted(name for name in bound.plan.charges.mixes if name),
        "hand": choices(bound.plan),
    }  # fmt: skip


def _probes(bound: Bound) -> list[dict[str, Any]]:
    """role: air, humidity, board, frame or core, "" for what hangs nowhere in the racks; bay, level: where, else 0."""
    hangs = _hangs(bound)
    return [
        {"tag": point.tag, "text": point.text, "unit": point.unit, "role": role, "bay": bay, "level": level}
        for point in bound.points
        if point.kind == "AI"
        for role, bay, level in (hangs.get(point.tag, ("", 0, 0)),)
    ]


def _hangs(bound: Bound) -> dict[str, tuple[str, int, int]]:
    climate, product = bound.chamber.climate, bound.chamber.product
    found = {pair.t: ("air", pair.bay, pair.level) for pair in climate.pairs}
    for pair in climate.pairs:
        found.update({tag: ("humidity", pair.bay, pair.level) for tag in (pair.rh, pair.wet, pair.dew) if tag})
    found.update({board.tag: ("board", board.bay, board.level) for board in climate.boards})
    found.update({frame.tag: ("frame", frame.bay, 0) for frame in climate.frames})
    found.update({dummy.tag: ("core", dummy.bay, dummy.level) for dummy in product.dummies})
    return found
