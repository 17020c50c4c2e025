"""The register map that people read says what the point list says: one row a point, at its register and bit."""

import pytest

from controller.config.find import SHIPPED, find
from controller.config.loader import load_table
from controller.core.points import Point

DOCUMENT = (SHIPPED / "devices" / "panel-a.md").read_text(encoding="utf-8").splitlines()
POINTS = load_table(find("points", "panel-a"), Point)


@pytest.mark.parametrize("point", POINTS, ids=lambda point: point.tag)
def test_every_point_has_its_row(point):
    place = f"{point.address} bit {point.bit}" if point.kind in ("DI", "DO") else f"{point.address}"
    (row,) = [line for line in DOCUMENT if f" {point.tag} " in line]
    assert row.startswith(f"| {place} | {point.tag} {point.text}")
    if point.kind == "AI":
        assert f"{point.raw_lo}..{point.raw_hi} uA = {point.lo:g}..{point.hi:g} {point.unit} |" in row
    if point.kind == "AO":
        assert row.endswith(f"| {point.safe:g} % |")
    if point.kind == "DO":
        assert row.endswith("| on |" if point.safe else "| off |")
