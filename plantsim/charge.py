"""What stands in the racks."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Charge:
    """Product filled in before the start, evenly over the bays that are not empty.

    tonnes: of fresh concrete; mix_degC: its temperature, which air, boards and envelope share at the start.
    age_h: equivalent age at 20 degC when the clock starts; empty_bays: numbered from 1. tonnes 0: the racks are empty.
    mix: its name among the model's mixes, "" = the product section.
    """

    tonnes: float = 120.0
    mix_degC: float = 20.0
    age_h: float = 0.0
    empty_bays: tuple[int, ...] = ()
    mix: str = ""
