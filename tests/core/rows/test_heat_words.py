"""Rows speak of the heater that is there: no hot-water words before a burner, and those of hot water unchanged."""

from __future__ import annotations

import pytest

from controller.core.rows.alarms import ALARMS
from controller.core.rows.heat_words import worded
from controller.core.rows.protection import ROWS

FOREIGN = {"gas": ("valve", "coil", "hot water", "element", "steam"), "electric": ("valve", "coil", "hot water", "gas"),
           "steam": ("coil", "hot water", "burner", "element")}  # fmt: skip


def test_hot_water_keeps_every_row_as_it_stands() -> None:
    assert worded(ROWS, "water") == ROWS
    assert worded(ALARMS, "water") == ALARMS


@pytest.mark.parametrize("kind", ["gas", "electric", "steam"])
def test_other_heaters_change_only_causes_and_actions_and_leave_no_foreign_word(kind) -> None:
    for rows in (ROWS, ALARMS):
        said = worded(rows, kind)
        assert [row.tag for row in said] == [row.tag for row in rows]
        for before, after in zip(rows, said, strict=True):
            kept = ("tag", "text", "priority", "latch", "consequence")
            assert [getattr(after, name) for name in kept] == [getattr(before, name) for name in kept]
            if "heat" in before.tag or "hot" in before.tag or before.tag.startswith(("temperature-", "fighting")):
                foreign = [word for word in FOREIGN[kind] if word in f"{after.cause} {after.action}"]
                assert not foreign, (after.tag, after.cause, after.action)
