"""Wrong orders of people: what each kind gives, when, and what a controller makes of them."""

from __future__ import annotations

from collections import Counter

from controller.core.frames import Command
from controller.core.orders.commands import CommandState, fresh, objection
from controller.rig.faults.operators import Overheard, WrongOrders, at_screen
from controller.runtime.orders import MergedOrders, ScriptOrders
from plantsim.faults import KINDS, Fault

SCRIPT = [(1, Command("cycle-start", "start", "cycle")), (3, Command("note", "acknowledge", "cycle"))]


def given(*faults: Fault, scans: int = 30, dt_s: float = 1.0) -> list[tuple[int, Command]]:
    """(scan, order) of everything that a script and these people give."""
    heard = Overheard(ScriptOrders(SCRIPT))
    orders = MergedOrders(heard, WrongOrders(faults, heard, dt_s))
    return [(scan, order) for scan in range(scans) for order in orders.due(scan)]


def wrong(*faults: Fault) -> list[tuple[int, Command]]:
    return [(scan, order) for scan, order in given(*faults) if order.who == "operator"]


def test_all_kinds_at_a_screen_give_orders_and_no_other_kind_does() -> None:
    for kind in KINDS:
        target = {"probe": "TT-1", "bay": "1"}.get(KINDS[kind].target, "")
        fault = Fault(kind=kind, target=target, start_s=10.0, length_s=5.0)
        assert bool(wrong(fault)) == at_screen(fault)
    at_screens = {kind for kind in KINDS if at_screen(Fault(kind=kind))}
    assert at_screens == {"double-start", "abort", "recipe-edited", "stale-command", "acknowledge-storm"}


def test_single_orders_come_once_in_the_scan_in_which_the_fault_begins() -> None:
    two_s = [(scan, one.verb) for scan, one in given(Fault(kind="abort", start_s=9.0, length_s=8.0), dt_s=2.0)]
    assert two_s[2:] == [(5, "abort")]
    ((scan, order),) = wrong(Fault(kind="double-start", start_s=10.0, length_s=5.0))
    assert (scan, order.verb, order.args) == (10, "start", ())
    ((_, order),) = wrong(Fault(kind="recipe-edited", start_s=10.0))
    assert (order.verb, order.args) == ("start", (("recipe", "another-recipe"),))


def test_a_storm_of_acknowledgements_comes_every_scan_each_with_an_id_of_its_own() -> None:
    storm = wrong(Fault(kind="acknowledge-storm", start_s=10.0, length_s=3.0, amount=40.0))
    assert Counter(scan for scan, _ in storm) == {10: 40, 11: 40, 12: 40}
    assert len({order.id for _, order in storm}) == 120
    assert {order.verb for _, order in storm} == {"acknowledge"}
    refused = [objection(order, "running", place, 60.0) for place, (_, order) in enumerate(storm[:40])]
    assert [bool(reason) for reason in refused] == [False] * 32 + [True] * 8


def test_an_old_page_repeats_what_was_ordered_before_it_in_three_ways_and_none_of_them_happens() -> None:
    orders = [order for scan, order in given(Fault(kind="stale-command", start_s=10.0, length_s=1.0)) if scan == 10]
    assert [order.id for order in orders[:2]] == ["cycle-start", "note"]
    assert len({order.id for order in orders}) == 6
    state, _ = fresh(CommandState(), tuple(order for _, order in SCRIPT))
    state, left = fresh(state, tuple(orders))
    assert state.repeats == 2
    assert [order.id for order in left] == [order.id for order in orders[2:]]
    aged, seen = left[:2], left[2:]
    assert all("stale: 3600.0 s old" in objection(order, "running", 0, 60.0) for order in aged)
    assert "given while the chamber was idle" in objection(seen[0], "running", 0, 60.0)
    assert objection(seen[1], "running", 0, 60.0) == "", "to acknowledge is never refused for what was seen"


def test_orders_that_come_after_the_page_was_loaded_are_not_repeated() -> None:
    early = [order for scan, order in given(Fault(kind="stale-command", start_s=2.0, length_s=1.0)) if scan == 2]
    assert {order.verb for order in early} == {"start"}
