"""What if the chamber were older, worse or other than its file says? Cases as data, and what they change."""

from __future__ import annotations

from plantsim.whatif.case import Amount, Change, Standing, Strike, WhatIf
from plantsim.whatif.change import Changed, changed, field_of, number

__all__ = ["Amount", "Change", "Changed", "Standing", "Strike", "WhatIf", "changed", "field_of", "number"]
