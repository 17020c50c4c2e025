"""People at a screen who do the wrong thing: faults of the room "operator" as one more source of orders."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence

from controller.core.frames import Command
from controller.core.orders.commands import Orders
from controller.core.orders.verbs import ACKNOWLEDGE
from controller.runtime.orders import MergedOrders
from plantsim.faults import KINDS, Fault, amount_of

WHO = "operator"
OTHER_RECIPE = "another-recipe"
OLD_PAGE_S = 3600.0  # how long the orders of an old page lay there
REMEMBERED = 20


def with_wrong_orders(script: Orders, faults: Sequence[Fault], dt_s: float) -> Orders:
    """The orders of a script, and with them what people wrongly order where the faults say so."""
    if not any(map(at_screen, faults)):
        return script
    heard = Overheard(script)
    return MergedOrders(heard, WrongOrders(faults, heard, dt_s))


class Overheard:
    """A source of orders, and what it gave lately."""

    def __init__(self, source: Orders) -> None:
        self.last: deque[Command] = deque(maxlen=REMEMBERED)
        self._source = source

    def due(self, scan: int) -> tuple[Command, ...]:
        """As of the source."""
        given = self._source.due(scan)
        self.last.extend(given)
        return given


class WrongOrders:
    """What people wrongly order. heard: whose orders an old page repeats; it must be asked first in each scan."""

    def __init__(self, faults: Iterable[Fault], heard: Overheard, dt_s: float) -> None:
        self._heard = heard
        self._spans = [
            (number, fault, *fault.scans(dt_s)) for number, fault in enumerate(faults) if at_screen(fault)
        ]

    def due(self, scan: int) -> tuple[Command, ...]:
        """Orders of this scan."""
        given: list[Command] = []
        for number, fault, first, end in self._spans:
            if scan == first or (first < scan and fault.kind == "acknowledge-storm" and (end is None or scan < end)):
                given += self._orders(fault, f"{fault.kind}-{number}-{scan}")
        return tuple(given)

    def _orders(self, fault: Fault, id_: str) -> Sequence[Command]:
        if fault.kind == "acknowledge-storm":
            return [Command(f"{id_}-{n}", ACKNOWLEDGE, WHO) for n in range(int(amount_of(fault)))]
        if fault.kind == "stale-command":
            return self._old_page(id_)
        if fault.kind == "recipe-edited":
            return [Command(id_, "start", WHO, (("recipe", OTHER_RECIPE),))]
        return [Command(id_, {"double-start": "start"}.get(fault.kind, fault.kind), WHO)]

    def _old_page(self, id_: str) -> list[Command]:
        """As they were, as sent again by a page that says its age, and as seen by one that shows an idle chamber."""
        old = list(self._heard.last)
        aged = [_again(one, f"{id_}-aged-{n}", "age_s", OLD_PAGE_S) for n, one in enumerate(old)]
        seen = [_again(one, f"{id_}-seen-{n}", "seen", "idle") for n, one in enumerate(old)]
        return old + aged + seen


def _again(order: Command, id_: str, name: str, value: str | float) -> Command:
    """The order under another id, with one argument more."""
    return Command(id_, order.verb, WHO, tuple(sorted((*order.args, (name, value)))))


def at_screen(fault: Fault) -> bool:
    """Is it an order that a person gives at a screen?"""
    return KINDS[fault.kind].room == "operator" and fault.kind != "hand-left-on"
