"""What the people at the doors tell the controller: the moves of a filling as orders."""

from __future__ import annotations

from collections.abc import Iterator
from math import floor

from controller.core.frames import Command
from controller.core.orders.verbs import CHARGE, DISCHARGE
from plantsim.filling import Filling, Move

_VERBS = {"place": CHARGE, "take": DISCHARGE}
_PER_SCAN_MAX = 16  # half of what a controller takes in one scan: an inventory is entered over several


def orders(filling: Filling, dt_s: float, first_scan: int) -> Iterator[tuple[int, Command]]:
    """(scan, order) of every move that concerns boards, in the scan after it was made. Doors tell of themselves.

    What stands there at time 0 is the inventory: it has stood in this climate, and is entered as settled.
    """
    scan, here = first_scan, 0
    for number, move in enumerate(filling):
        if move.what not in _VERBS:
            continue
        due = max(first_scan, floor(move.time_s / dt_s) + 1)
        if due > scan:
            scan, here = due, 0
        elif here == _PER_SCAN_MAX:
            scan, here = scan + 1, 0
        here += 1
        yield scan, Command(f"yard-{number}", _VERBS[move.what], "yard", _args(move))


def _args(move: Move) -> tuple[tuple[str, str | float | bool], ...]:
    args: dict[str, str | float | bool] = {"bay": move.bay, "level": move.level}
    if move.batch is not None:
        batch = move.batch
        args |= {"tonnes": batch.tonnes, "degC": batch.degC, "age_h": batch.age_h, "mix": batch.mix}
        if move.time_s == 0.0:
            args["settled"] = True
    return tuple(sorted(args.items()))
