"""The table of kinds, and what does not fit it."""

from __future__ import annotations

from typing import Any

import pytest

from plantsim.faults import KINDS, Fault, Faulted, kinds_of, objections, places_of
from plantsim.params import PlantParams


def test_everything_that_does_not_fit_is_named_at_once_with_its_remedy(make: Any, params: PlantParams) -> None:
    wrong = [
        Fault(kind="bised", target="TT-101A"),
        Fault(kind="biased", target="TT-101Z"),
        Fault(kind="stuck-mid", target="fog-a"),
        Fault(kind="pegged", target="TT-101A"),
        Fault(kind="stuck", target="TT-101A", amount=3.0),
        Fault(kind="draught", target="9"),
        Fault(kind="draught", target="1", amount=50.0),
        Fault(kind="belt-off", target="1"),
        Fault(kind="bit-flip", target="8", amount=1.5),
    ]
    found = objections(wrong, places_of(params))
    assert [(item.field, item.value) for item in found] == [
        ("fault.0.kind", "bised"), ("fault.1.target", "TT-101Z"), ("fault.2.target", "fog-a"),
        ("fault.3.target", "TT-101A"), ("fault.4.amount", "3"), ("fault.5.target", "9"), ("fault.6.amount", "50"),
        ("fault.7.target", "1"), ("fault.8.amount", "1.5"),
    ]  # fmt: skip
    assert found[0].remedy == "did you mean biased?"
    assert "0.001 to 5 kg/s" in found[6].limit
    with pytest.raises(ValueError, match=r"fault\.0\.kind bised: is no kind of fault; did you mean biased\?\n"):
        Faulted(make(), wrong)


def test_the_table_has_every_kind_of_every_room() -> None:
    counts = {room: len(kinds_of(room)) for room in ("sensor", "actuator", "plant", "wire", "operator")}
    assert counts == {"sensor": 8, "actuator": 8, "plant": 7, "wire": 20, "operator": 6}
    assert all(kind.lo <= kind.usual <= kind.hi for kind in KINDS.values())
