"""All checks, in the order of the report. One file a subject."""

from __future__ import annotations

from verification.check import Check
from verification.checks import (
    cells,
    equipment,
    instruments,
    kinds,
    moist_air,
    openings,
    surfaces,
    warm_up,
    whole,
)

ALL: tuple[Check, ...] = (
    *moist_air.CHECKS,
    *cells.CHECKS,
    *surfaces.CHECKS,
    *openings.CHECKS,
    *equipment.CHECKS,
    *kinds.CHECKS,
    *instruments.CHECKS,
    *whole.CHECKS,
    *warm_up.CHECKS,
)
BY_NAME = {check.name: check for check in ALL}
