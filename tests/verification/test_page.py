"""The report: one self-contained page and its JSON, honest about what is not validated."""

from __future__ import annotations

import json
import re

from verification.check import Check, Effort, Figure, Plant, times
from verification.page import as_json, as_page
from verification.results import run
from verification.validate import validate


def checked(got: float, factor: float) -> Check:
    """A check of one figure, expected 1, with a planted error that changes nothing it looks at if factor is 1."""
    from plantsim.kernel import mixing

    def measure(_: Effort) -> list[Figure]:
        return [Figure(what="one", expected=0.055, got=got * mixing.OVERTURNING, tolerance=1e-9)]

    plant = Plant(what="a factor", changes={"kernel.mixing.OVERTURNING": times(factor)}, compiled=True)
    return Check(
        name="n<1>", subject="s", proves="p", formula="f", source="recomputed: x", run=measure, plants=(plant,)
    )


def test_a_check_holds_only_if_its_figures_hold_and_its_planted_errors_are_seen():
    assert run(checked(1.0, 2.0), Effort.GATE).holds
    assert not run(checked(1.1, 2.0), Effort.GATE).holds
    unseen = run(checked(1.0, 1.0), Effort.GATE)
    assert not unseen.holds
    assert not unseen.caught[0].caught


def test_the_page_is_self_contained_and_escapes_texts():
    validations = validate(None)
    told = as_json([run(checked(1.0, 1.0), Effort.GATE)], [], validations)
    page = as_page(json.loads(json.dumps(told)), validations)
    assert "n&lt;1&gt;" in page
    assert "NOT SEEN" in page
    assert "verified, not validated" in page
    assert not re.search(r"<(script|link|img)|https?://(?!www\.w3\.org)|@import|url\(", page)


def test_without_data_nothing_is_called_validated():
    """Printed figures need no data; every measured series does."""
    states = {one.name: one.state for one in validate(None)}
    assert states.pop("heat of hydration of two cements") == "compared"
    assert set(states.values()) <= {"not validated"}
