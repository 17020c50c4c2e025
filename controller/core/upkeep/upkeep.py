"""Wear and duty of one chamber: hours and starts of drives, and what people have to do from time to time."""

from __future__ import annotations

from dataclasses import dataclass

from controller.core.binding import Binder
from controller.core.frames import Command, Event, Frame, Outputs
from controller.core.orders.commands import outcome
from controller.core.orders.verbs import DONE
from controller.core.points import Point
from controller.core.quick import maker
from controller.core.upkeep import duty, wear
from controller.core.upkeep.duty import DutyItem, DutyPlan, DutyState
from controller.core.upkeep.wear import WearConfig, WearPlan, WearState


@dataclass(frozen=True, slots=True)
class UpkeepPlan:
    """idle: this chamber has neither drives to count nor items to do."""

    wear: WearPlan
    duty: DutyPlan
    idle: bool


@dataclass(frozen=True, slots=True)
class UpkeepState:
    """Both states."""

    wear: WearState
    duty: DutyState


FRESH = UpkeepState(WearState(), DutyState())
_state = maker(UpkeepState)
_NONE: tuple[Event, ...] = ()


def bind(config: WearConfig, items: tuple[DutyItem, ...], points: tuple[Point, ...]) -> UpkeepPlan:
    """Tags to columns. Raises ConfigError."""
    drives = wear.bind(config, points)
    binder = Binder("duty", points)
    todo = duty.bind(items, binder, drives.tags)
    binder.done()
    return UpkeepPlan(drives, todo, not drives.tags and not items)


def initial(plan: UpkeepPlan) -> UpkeepState:
    """Nothing has run, nothing was done."""
    return UpkeepState(wear.initial(plan.wear), DutyState())


def follow(
    plan: UpkeepPlan, state: UpkeepState, frame: Frame, outputs: Outputs, orders: tuple[Command, ...], now_s: float,
    same: bool,
) -> tuple[UpkeepState, tuple[Event, ...]]:
    """One scan. orders: those that others answer than the sequence; "done" is answered here. same: the outputs are
    those of the scan before, so that only contacts need a look."""
    if same and not orders and now_s < state.duty.next_s and plan.wear.contacts(frame.discrete) == state.wear.contacts:
        return state, _NONE
    drives, todo = wear.follow(plan.wear, state.wear, frame.discrete, outputs.discrete, now_s), state.duty
    events = _NONE
    for order in orders:
        if order.verb == DONE:
            todo, reason, told = duty.obey(plan.duty, todo, order, wear.upto(drives, now_s), now_s)
            events = (*events, outcome(order, reason), *told)
    if now_s >= todo.next_s and plan.duty.items:
        todo, told = duty.look(plan.duty, todo, frame.values, wear.upto(drives, now_s), now_s)
        events = (*events, *told)
    if drives is state.wear and todo is state.duty:
        return state, events
    return _state(drives, todo), events


def carried(plan: UpkeepPlan, state: UpkeepState, until_s: float, now_s: float, utc_s: float) -> UpkeepState:
    """Over a restart: drives stood still since `until_s`, and the calendar is what the computer says now."""
    known = {item.tag for item in plan.duty.items}
    before = state.duty
    return UpkeepState(
        wear.carried(state.wear, until_s, plan.wear),
        DutyState(
            now_s, tuple(one for one in before.done if one.tag in known),
            tuple(one for one in before.due if one[0] in known), (), before.passed, utc_s - now_s, before.stale,
        ),
    )
