"""The rack face: every place with the air around it and the age of its product, as far as a few probes tell."""

from __future__ import annotations

from functools import lru_cache
from math import isfinite, nan
from typing import Any

from controller.core.climate.places import positions, shares
from controller.core.frames import Quality
from controller.core.product.moves import release_list
from controller.core.scan import ScanState
from controller.page.live.bound import Bound
from controller.page.live.numbers import clean
from controller.store.glance import Newest


def places_now(bound: Bound, newest: Newest, state: ScanState) -> dict[str, Any]:
    """face_degC: air at every place, bay-major from the lowest level, interpolated from the good air probes.

    age_h, ready_in_h: of the product there, None where nothing stands; ready_in_h at the present temperature, 0 when
    ready, None when it is not known.
    """
    plan, product = bound.plan.product, state.product
    full = _full(bound, state)
    wanted = plan.config.ready_age_h
    ready: list[float | None] = []
    for index, (age, degC) in enumerate(zip(product.ages_h, product.temperatures_degC, strict=True)):
        pace = plan.rate(degC) if isfinite(degC) else nan
        missing = max(0.0, wanted - age)
        ready.append(clean(missing / pace if missing else 0.0, 1) if full[index] and pace > 0.0 else None)
    return {
        "face_degC": _air(bound, newest),
        "age_h": [clean(age, 1) if full[index] else None for index, age in enumerate(product.ages_h)],
        "ready_in_h": ready,
    }


def boards_now(bound: Bound, state: ScanState) -> list[dict[str, Any]] | None:
    """Boards that are entered one by one, those that are ready first, then the longest in; None where a charge is one.

    young: they take heat and get wet still, and are not watched. ready_in_h: None when it is not known.
    """
    charges = state.charges
    if not bound.plan.charges.each and not charges.places:
        return None
    found = [
        {
            "bay": one.bay, "level": one.level, "t": round(one.tonnes, 2), "mix": one.mix, "own_h": round(one.own_h, 2),
            "age_h": clean(one.age_h, 1), "ready": one.ready, "ready_in_h": clean(one.ready_in_h, 1),
            "young": charges.young[(one.bay - 1) * bound.chamber.levels + one.level - 1],
        }
        for one in release_list(bound.plan.charges, charges, state.product)
    ]  # fmt: skip
    return sorted(found, key=lambda one: (not one["ready"], -one["own_h"]))


def _full(bound: Bound, state: ScanState) -> list[bool]:
    if state.charges.places:
        return [there is not None for there in state.charges.places]
    occupied = set(bound.plan.product.occupied)
    return [index in occupied for index in range(bound.plan.product.count)]


def _air(bound: Bound, newest: Newest) -> list[float | None]:
    columns = {tag: number for number, tag in enumerate(bound.header.tags)}
    good = [
        (pair.bay, pair.level, newest.values[columns[pair.t]])
        for pair in bound.chamber.climate.pairs
        if newest.qualities[columns[pair.t]] == Quality.GOOD
    ]
    if not good:
        return [None] * (bound.chamber.bays * bound.chamber.levels)
    rows = _weights(bound.chamber.bays, bound.chamber.levels, tuple((bay, level) for bay, level, _ in good))
    values = [value for _bay, _level, value in good]
    return [clean(sum(w * v for w, v in zip(row, values, strict=True)), 2) for row in rows]


@lru_cache(maxsize=64)
def _weights(bays: int, levels: int, probes: tuple[tuple[int, int], ...]) -> tuple[tuple[float, ...], ...]:
    return tuple(shares(place, probes) for place in positions(bays, levels))
