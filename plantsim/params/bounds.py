"""Bounds that many parameters share."""

from __future__ import annotations

from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le, Lt

BAYS_MAX = 16
Bay = Annotated[int, Ge(1), Le(BAYS_MAX)]
Positive = Annotated[float, Gt(0), Lt(1e9)]
NotNegative = Annotated[float, Ge(0), Lt(1e9)]
Share = Annotated[float, Ge(0), Le(1)]
Celsius = Annotated[float, Ge(-40), Le(120)]
Fails = Literal["shut", "stay", "open"]  # where a drive goes without power
