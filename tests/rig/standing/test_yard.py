"""Moves of a filling as orders to the controller: what, when, and how many at once."""

from __future__ import annotations

from controller.rig.standing import yard
from plantsim.filling import Batch, Move, in_order


def test_boards_are_told_in_the_scan_after_the_move_and_doors_are_not() -> None:
    filling = in_order([
        Move(10.0, "open", 1), Move(12.0, "take", 1, 2), Move(13.0, "place", 1, 2, Batch(1.5, 20.0, 0.5)),
        Move(40.0, "close", 1),
    ])  # fmt: skip
    told = list(yard.orders(filling, 2.0, 1))
    assert [(scan, command.verb) for scan, command in told] == [(7, "discharge"), (7, "charge")]
    assert "settled" not in dict(told[1][1].args)


def test_an_inventory_is_settled_and_is_entered_over_several_scans() -> None:
    inventory = in_order(Move(0.0, "place", 1, level, Batch(1.5, 32.0, 20.0)) for level in range(1, 41))
    told = list(yard.orders(inventory, 1.0, 1))
    assert all(dict(command.args)["settled"] is True for _, command in told)
    assert {scan: [s for s, _ in told].count(scan) for scan, _ in told} == {1: 16, 2: 16, 3: 8}
