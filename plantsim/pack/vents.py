"""Dampers of exhaust and make-up, and the exchanger between them."""

from __future__ import annotations

from itertools import pairwise

from plantsim.kernel import layout as at
from plantsim.kernel.layout import Floats, Tables
from plantsim.kernel.vents import EQUAL_PERCENTAGE, LINEAR, TABLE
from plantsim.pack.common import MisfitError
from plantsim.params import Makeup, PlantParams, Vent

KINDS = {"equal-percentage": EQUAL_PERCENTAGE, "linear": LINEAR, "table": TABLE}


def pack_vents(c: Tables, p: PlantParams, dt: float) -> None:
    """Rows of the dampers. MisfitError for tables and authorities that cannot be."""
    vent, makeup = p.vent, p.vent.makeup
    pack_damper(c.damper[0], vent, "vent")
    pack_damper(c.damper[1], makeup, "vent.makeup")
    both = vent.authority + makeup.authority
    if both > 1.0:
        raise MisfitError(
            "vent.makeup.authority", makeup.authority, f"with vent.authority {vent.authority} at most 1 together",
            "lower one of them: both dampers share the exhaust fan's pressure",
        )  # fmt: skip
    plain = vent.characteristic == "equal-percentage" and vent.leakage_share == 0.0 and makeup.authority == 0.0
    c.k[at.K_DAMPERS], c.k[at.K_MAKEUP_STEP] = float(not plain), 100.0 / makeup.stroke_s * dt
    c.k[at.K_RECOVERY], c.k[at.K_FROST_T] = vent.recovery_efficiency, vent.recovery_frost_degC


def pack_damper(row: Floats, given: Vent | Makeup, name: str) -> None:
    """One row of the table of dampers."""
    row[at.A_KIND] = KINDS[given.characteristic]
    row[at.A_RANGEABILITY], row[at.A_AUTHORITY] = given.rangeability, given.authority
    row[at.A_LEAKAGE] = given.leakage_share
    if (given.characteristic == "table") != bool(given.table):
        limit = "given for the characteristic \"table\" and for no other"
        raise MisfitError(f"{name}.table", list(given.table), limit, "give both or none")
    if not given.table:
        return
    x, y = zip(*given.table, strict=True)
    if x[0] != 0.0 or x[-1] != 100.0 or y[-1] != 100.0 or any(b <= a for a, b in pairwise(x)):
        limit = "positions rise from 0 to 100 %, where the area is 100 %"
        raise MisfitError(f"{name}.table", list(given.table), limit, "begin with [0, ..] and end with [100, 100]")
    row[at.A_COUNT] = len(x)
    row[at.A_X : at.A_X + len(x)] = [value / 100.0 for value in x]
    row[at.A_Y : at.A_Y + len(x)] = [value / 100.0 for value in y]
