"""Bounds that many parameters share."""

from __future__ import annotations

from typing import Annotated

from annotated_types import Ge, Gt, Le, Lt

Positive = Annotated[float, Gt(0), Lt(1e9)]
NotNegative = Annotated[float, Ge(0), Lt(1e9)]
Share = Annotated[float, Ge(0), Le(1)]
Celsius = Annotated[float, Ge(-40), Le(120)]
