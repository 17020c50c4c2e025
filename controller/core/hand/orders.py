"""Answers the orders of a scan that override something by hand, or lock the outputs out."""

from __future__ import annotations

from dataclasses import replace

from controller.core.frames import Command, Event
from controller.core.hand import lock_out
from controller.core.hand import register as by_hand
from controller.core.hand.register import ByHand, ByHandPlan
from controller.core.loops.allocation import Demands
from controller.core.orders.commands import outcome
from controller.core.orders.verbs import BY_HAND, LOCKING


def take(
    plan: ByHandPlan, state: ByHand, orders: tuple[Command, ...], demands: Demands, now_s: float
) -> tuple[ByHand, tuple[Event, ...]]:
    """Carry out those of `orders` that are meant here: one outcome each, and what is to be told.

    demands: of this scan: a loop that is put into manual without a value stays where it is.
    """
    events: list[Event] = []
    asked = (demands.heat_kW, demands.fog_kg_per_h, demands.vent_kg_per_s, demands.fan_pct)
    for order in orders:
        if order.verb in BY_HAND:
            state, reason, told = by_hand.obey(plan, state, order, asked, now_s)
        elif order.verb in LOCKING:
            locks, reason, told = lock_out.obey(state.locks, order, now_s)
            state = by_hand.settled(replace(state, locks=locks))
        else:
            continue
        events += (outcome(order, reason), *told)
    return state, tuple(events)
