"""One what-if case as data: in words, by how much, and what that changes in the chamber model.

Everything follows from one number, the amount of the case. What it becomes at a place is `by` where that is given,
else amount ** power; so a case may change several things in step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import Ge, Le, Len, MaxLen, MinLen

from plantsim.params.bounds import BAYS_MAX, Bay

How = Literal["times", "plus", "minus", "becomes"]
Name = Annotated[str, MinLen(3), MaxLen(60)]
Power = Annotated[float, Ge(-4), Le(4)]
By = Annotated[float, Ge(-1e6), Le(1e6)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """By how much: in `unit`, from lo to hi. text: the amount in words, {} = its number with its unit.

    whole: only whole numbers, for a bay.
    """

    text: Annotated[str, MinLen(4), MaxLen(120)]
    usual: By
    lo: By
    hi: By
    unit: Annotated[str, MaxLen(20)] = ""
    whole: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One number that is changed. what: a parameter as in a plant file ("envelope.U_W_per_m2_K"), or one of
    charge.tonnes, charge.mix_degC, charge.empty_bay, weather.degC, weather.rh_pct.
    """

    what: Name
    how: How
    by: By | None = None
    power: Power = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Strike:
    """A fault (plantsim.faults.kinds) that acts from the first scan to the last."""

    kind: Annotated[str, MaxLen(40)]
    target: Annotated[str, MaxLen(40)] = ""
    by: By | None = None
    power: Power = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What stands in some bays in place of the usual. mix: a name of the plant file, "" = its product section.

    warmer: how much warmer than the usual mix it came, in amounts, K. load_power: its mass is that of the usual
    position times amount ** load_power; 0 = the usual mass.
    """

    bays: Annotated[tuple[Bay, ...], Len(1, BAYS_MAX)]
    mix: Annotated[str, Len(0, 40)] = ""
    warmer: Annotated[float, Ge(-10), Le(10)] = 0.0
    load_power: Annotated[float, Ge(-4), Le(4)] = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """A case. text: what is the matter, for people. source: where the amounts come from, or that they are chosen."""

    text: Annotated[str, MinLen(10), MaxLen(300)]
    source: Annotated[str, MinLen(6), MaxLen(300)]
    amount: Amount | None = None
    change: Annotated[tuple[Change, ...], Len(0, 20)] = ()
    fault: Annotated[tuple[Strike, ...], Len(0, 20)] = ()
    stands: Annotated[tuple[Standing, ...], Len(0, 8)] = ()
