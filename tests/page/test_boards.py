"""Boards that come and go: the page has each place's own clock, and none of it where a charge is one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from controller.core.frames import Command
from controller.core.product import moves
from controller.page.live.bound import bound, state_of
from controller.page.live.face import boards_now
from controller.store.glance import Glance


def test_places_are_listed_only_where_boards_come_one_by_one(data: Path) -> None:
    glance = Glance(data / "record.sqlite")
    found, checkpoint = glance.header(), glance.checkpoint()
    glance.close()
    assert found is not None
    assert checkpoint is not None
    here, state = bound(found[2]), state_of(checkpoint.state)
    assert boards_now(here, state) is None
    orders = (
        Command("a", "discharge", "ana", (("bay", 1), ("level", 1))),
        Command("b", "discharge", "ana", (("bay", 2), ("level", 3))),
        Command("c", "charge", "ana", (("bay", 2), ("degC", 24.0), ("level", 3), ("tonnes", 1.5))),
    )
    stood = replace(state.product, pending_s=60.0)  # boards that have just come may not leave at once
    charges, product, _seen, _events = moves.apply(here.plan.charges, state.charges, stood, orders, 60.0)
    boards = boards_now(here, replace(state, charges=charges, product=product))
    assert boards is not None
    assert len(boards) == here.chamber.bays * here.chamber.levels - 1
    newest = next(one for one in boards if (one["bay"], one["level"]) == (2, 3))
    assert (newest["t"], newest["young"], newest["ready"], newest["own_h"]) == (1.5, True, False, 0.0)
