"""The rules that a cycle is judged by, configs/verdict.toml: their one source, for whoever judges or looks ahead."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated

from annotated_types import Ge, Le

from controller.config.find import SHIPPED
from controller.config.loader import load


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictRules:
    """Shape of configs/verdict.toml."""

    fail_on_trip: bool
    fail_on_broken_invariant: bool
    board_film_kg_per_m2_max: Annotated[float, Ge(0)]
    core_degC_max: Annotated[float, Ge(0), Le(100)]
    in_band_pct_min: Annotated[float, Ge(0), Le(100)]
    hold_hours_min: Annotated[float, Ge(0)]
    dew_margin_K_min: Annotated[float, Ge(-2), Le(2)]
    drying_kg_per_m2h_max: Annotated[float, Ge(0)]
    ready_late_h_max: Annotated[float, Ge(0)]
    standing_drying_kg_per_m2h_max: Annotated[float, Ge(0)]
    settled_off_K_max: Annotated[float, Ge(0)]
    door_recovery_min_max: Annotated[float, Ge(0)]
    deviation_on_outage: bool
    deviation_on_bypass: bool
    deviation_on_drive_in_hand: bool


@lru_cache(maxsize=1)
def verdict_rules() -> VerdictRules:
    """The rules that the quality manager owns, read once. Raises ConfigError."""
    return load(SHIPPED / "verdict.toml", VerdictRules)
