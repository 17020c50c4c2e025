"""The charge table: who came to which place, who left, how wet; from the journal, truth beside it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from controller.report.charge_table import charged

HOUR_MS = 3_600_000


def row(kind: str, at_h: float, bay: int, level: int, **data: Any) -> Any:
    place = {"bay": bay, "level": level, "tonnes": 1.5, "mix": ""}
    return SimpleNamespace(kind=kind, utc_ms=at_h * HOUR_MS, data={**place, **data})


def left(at_h: float, bay: int, level: int, own_h: float, wetted: float) -> Any:
    return row(
        "discharge", at_h, bay, level, in_degC=27.0, own_h=own_h, age_h=2.0 * own_h, ready=own_h > 15.0,
        wetted_kg_per_m2=wetted,
    )  # fmt: skip


def table(*journal: Any, stays: list[dict[str, Any]] | None = None) -> list[Any]:
    summary = {} if stays is None else {"standing": {"stays": stays}}
    recorded: Any = SimpleNamespace(journal=list(journal), summary=summary, hours=lambda utc_ms: utc_ms / HOUR_MS)
    return charged(recorded)


def test_boards_are_followed_from_coming_to_leaving_and_their_place_is_filled_anew() -> None:
    first, second = table(
        row("charge", 1.0, 2, 3, degC=26.0), left(25.0, 2, 3, 24.0, 0.06), row("charge", 25.01, 2, 3, degC=28.0)
    )
    assert (first.in_h, first.out_h, first.in_degC, first.age_h, first.ready) == (1.0, 25.0, 26.0, 48.0, True)
    assert first.wetted_kg_per_m2 == 0.06
    assert (second.in_h, second.out_h, second.age_h, second.ready) == (25.01, None, None, None)


def test_what_was_there_before_is_known_only_by_its_leaving_and_stands_first() -> None:
    first, second = table(row("charge", 0.5, 1, 1, degC=26.0), left(2.0, 6, 12, 2.0, 0.0))
    assert (first.bay, first.level, first.in_h, first.in_degC, first.ready) == (6, 12, None, 27.0, False)
    assert second.in_h == 0.5


def test_the_models_wetting_stands_beside_the_same_boards_only() -> None:
    stays = [
        {"bay": 1, "level": 1, "in_h": 0.5014, "wetted_kg_per_m2": 0.07},
        {"bay": 1, "level": 1, "in_h": 24.5, "wetted_kg_per_m2": 0.09},
        {"bay": 1, "level": 2, "in_h": 0.0, "wetted_kg_per_m2": None},
    ]
    first, second = table(row("charge", 0.5, 1, 1, degC=26.0), row("charge", 9.0, 1, 2, degC=26.0), stays=stays)
    assert first.true_kg_per_m2 == pytest.approx(0.07)
    assert second.true_kg_per_m2 is None
