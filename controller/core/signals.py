"""One channel: raw word -> value, quality and reason (span, NE43, rate, age of the link)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated

from annotated_types import Ge, Gt, Le


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalsConfig:
    """Section [signals] of the chamber file.

    hold_last_scans: so long after the last frame values are held, UNCERTAIN; later they are BAD.
    rate_hold_s: so long after an impossible jump a channel stays UNCERTAIN.
    offset: table [signals.offset], tag = offset in the unit of the point, added after scaling (equalisation).
    """

    hold_last_scans: Annotated[int, Ge(0), Le(600)] = 5
    rate_hold_s: Annotated[float, Gt(0), Le(3600)] = 10.0
    offset: Mapping[str, Annotated[float, Ge(-20), Le(20)]] = field(default_factory=dict)
