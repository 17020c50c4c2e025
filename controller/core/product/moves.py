"""Orders that concern what stands in the racks: boards come (`charge`), leave (`discharge`), a new cycle begins.

`charge` has bay, level, tonnes, degC, and as it may be age_h, mix and settled (an inventory: boards that have stood in
this climate already); `discharge` has bay and level.

Each charge and discharge gets its one outcome here, refused ones with the reason, and one event for the journal, with
everything the charge table knew of the boards. A door is no order: only its contact says that it is open.
"""

from __future__ import annotations

from dataclasses import replace
from math import isfinite
from typing import NamedTuple

from controller.core.frames import Command, Event
from controller.core.orders.commands import outcome, shown
from controller.core.orders.verbs import CHARGE, DISCHARGE
from controller.core.product import charges, gap, product
from controller.core.product.charges import ChargePlan, ChargeState, Place
from controller.core.product.product import Product, ProductState
from controller.core.product.strength import caption, strength_MPa

STAY_S = 10.0  # a discharge given twice must not take out the boards that have just come instead; our choice
DEGC_MIN, DEGC_MAX, AGE_H_MAX = 0.0, 60.0, 1000.0  # of boards that come in; beyond them the entry is a mistake

Args = dict[str, str | float | bool]
Found = tuple[ChargeState, ProductState, Product, tuple[Event, ...]]


class Release(NamedTuple):
    """One line of the release list. ready_in_h: at the present temperature, 0 when ready, NaN when it is not known.

    why: what is missing, in words; "" when ready. Strength is an estimate; caption says so.
    """

    bay: int
    level: int
    tonnes: float
    mix: str
    own_h: float
    age_h: float
    strength_MPa: float
    caption: str
    ready: bool
    ready_in_h: float
    why: str


def apply(
    plan: ChargePlan, state: ChargeState, product_state: ProductState, orders: tuple[Command, ...], now_s: float
) -> Found:
    """Carry out the orders of one scan, one after the other. now_s: time since the record began."""
    events: list[Event] = []
    for command in orders:
        if command.verb == "start":
            state, product_state = _start(plan, state, product_state, dict(command.args))
            continue
        if command.verb not in (CHARGE, DISCHARGE):
            continue
        reason = _objection(plan, state, command, product_state.pending_s)
        events.append(outcome(command, reason))
        if reason:
            continue
        if not state.places:
            state = charges.singly(plan, state, now_s)
        move = _charge if command.verb == CHARGE else _discharge
        state, product_state, event = move(plan, state, product_state, command)
        events.append(event)
    if state.places:
        product_state, seen = charges.seen_now(plan, state, product_state)
    else:
        seen = product_state.seen
    return state, product_state, seen, tuple(events)


def release_list(plan: ChargePlan, state: ChargeState, product_state: ProductState) -> tuple[Release, ...]:
    """What every place holds and when it is ready, made when asked for; empty places are left out. After a gap the age
    is what the place has at least."""
    wanted, found = plan.product.config.ready_age_h, []
    least_h = gap.least_ages_h(product_state.ages_h, product_state.younger_h)
    for index, there in enumerate(state.places):
        if there is None:
            continue
        age, degC = least_h[index], product_state.temperatures_degC[index]
        pace = plan.rates[there.mix](degC)
        missing = max(0.0, wanted - age)
        mix = plan.mixes[there.mix]
        found.append(Release(
            index // plan.levels + 1, index % plan.levels + 1, there.tonnes, mix.name, there.own_s / 3600.0, age,
            strength_MPa(mix, age), caption(mix), missing == 0.0, missing / pace,
            f"{age:.1f} h of equivalent age, {wanted:g} h are wanted" if missing else "",
        ))  # fmt: skip
    return tuple(found)


def _start(
    plan: ChargePlan, state: ChargeState, product_state: ProductState, args: Args
) -> tuple[ChargeState, ProductState]:
    """A cycle begins. The first one takes the charge that was entered when control began; a later one has a new
    charge, as fresh, and keeps nothing of the one before. Boards entered one by one keep their clocks: only a
    discharge takes them out."""
    given = "mix_degC" in args or "age_h" in args
    degC, age_h = _number(args.get("mix_degC"), state.mix_degC), _number(args.get("age_h"), state.age_h)
    if not state.places and (state.begun or given):
        product_state = product.initial(plan.product, degC, age_h)
    return replace(state, mix_degC=degC, age_h=age_h, begun=True), product_state


def _number(value: str | float | bool | None, otherwise: float) -> float:
    fits = isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)
    return float(value) if fits and value is not None else otherwise


def _objection(plan: ChargePlan, state: ChargeState, command: Command, pending_s: float) -> str:
    """Why a charge or discharge cannot be; "" when it can. pending_s: of the minute that runs."""
    args = dict(command.args)
    for name, most in (("bay", plan.bays), ("level", plan.levels)):
        value = args.get(name)
        if not isinstance(value, int | float) or isinstance(value, bool) or value not in range(1, most + 1):
            return f"{name} {shown(value)}: must be a whole number from 1 to {most}"
    bay, level = int(args["bay"]), int(args["level"])
    index = (bay - 1) * plan.levels + level - 1
    if index not in plan.product.occupied:
        return f"bay {bay} was entered as empty: give the chamber without that, then charge it"
    there = state.places[index] if state.places else None
    full = there is not None or (not state.places and not plan.empty)
    if command.verb != CHARGE:
        if there is not None and (in_s := there.own_s + pending_s - there.late_s) < STAY_S:
            return (f"the boards of bay {bay} level {level} came {in_s:.0f} s ago, they can leave after {STAY_S:g} s:"
                    " look and give it again")
        return "" if full else f"bay {bay} level {level} is empty: nothing to discharge"
    if full:
        since = f", in for {there.own_s / 3600.0:.1f} h" if there is not None else ""
        return f"bay {bay} level {level} is occupied{since}: discharge it first"
    return _wrong_boards(plan, args)


def _wrong_boards(plan: ChargePlan, args: Args) -> str:
    """What is wrong with the boards of a charge; "" when they are right."""
    most_t = plan.product.config.t_per_position_max
    for name, low, high, unit in (
        ("tonnes", 0.001, most_t, "t"), ("degC", DEGC_MIN, DEGC_MAX, "degC"), ("age_h", 0.0, AGE_H_MAX, "h"),
    ):
        value = args.get(name, 0.0 if name == "age_h" else None)
        if not isinstance(value, int | float) or isinstance(value, bool) or not low <= value <= high:
            return f"{name} {shown(value)}: must be {low:g} to {high:g} {unit}"
    mix = args.get("mix", "")
    if mix not in plan.mixes:
        known = ", ".join(sorted(name for name in plan.mixes if name))
        return f"mix {mix!r} is not known to this controller: it was given {known}; others are given as it begins"
    return ""


def _charge(
    plan: ChargePlan, state: ChargeState, product_state: ProductState, command: Command
) -> tuple[ChargeState, ProductState, Event]:
    args = dict(command.args)
    bay, level = int(args["bay"]), int(args["level"])
    index = (bay - 1) * plan.levels + level - 1
    tonnes, degC, age_h = float(args["tonnes"]), float(args["degC"]), float(args.get("age_h", 0.0))
    mix = str(args.get("mix", ""))
    settled = plan.settle_s <= 0.0 or args.get("settled") is True
    apart = 0.0 if settled else degC - product_state.temperatures_degC[index]
    there = charges.place(tonnes, degC, age_h, mix, 0.0, product_state.pending_s, apart, settled, 0.0, 0.0)
    event = Event("charge", "", f"bay {bay} level {level}: {tonnes:.2f} t at {degC:.1f} degC come in", (
        ("bay", bay), ("level", level), ("tonnes", tonnes), ("degC", degC), ("age_h", age_h), ("mix", mix),
        ("who", command.who),
    ))
    return _put(state, index, there), _known(product_state, index, degC, age_h), event


def _discharge(
    plan: ChargePlan, state: ChargeState, product_state: ProductState, command: Command
) -> tuple[ChargeState, ProductState, Event]:
    args = dict(command.args)
    bay, level = int(args["bay"]), int(args["level"])
    index = (bay - 1) * plan.levels + level - 1
    there = state.places[index]
    assert there is not None
    degC, since_s = product_state.temperatures_degC[index], product_state.pending_s - there.late_s
    age_h = product_state.ages_h[index] + since_s / 3600.0 * plan.rates[there.mix](degC)
    mix, own_h = plan.mixes[there.mix], (there.own_s + since_s) / 3600.0
    less_h = product_state.younger_h[index] if product_state.younger_h else 0.0
    ready = age_h - less_h >= plan.product.config.ready_age_h
    text = f"bay {bay} level {level}: {there.tonnes:.2f} t leave after {own_h:.1f} h, equivalent age {age_h:.1f} h"
    if less_h:
        text += f", it may be {less_h:.1f} h less"
    event = Event("discharge", "", text + ("" if ready else ", not ready"), (
        ("bay", bay), ("level", level), ("tonnes", there.tonnes), ("degC", degC), ("in_degC", there.degC),
        ("own_h", own_h), ("in_age_h", there.age_h), ("age_h", age_h), ("mix", there.mix), ("ready", ready),
        ("strength_MPa", strength_MPa(mix, age_h)), ("caption", caption(mix)),
        ("wetted_kg_per_m2", there.wetted_kg_per_m2), ("who", command.who),
    ))
    local = degC - there.apart_K
    return _put(state, index, None), _known(product_state, index, local, 0.0), event


def _put(state: ChargeState, index: int, there: Place | None) -> ChargeState:
    return charges.with_places(state, (*state.places[:index], there, *state.places[index + 1 :]))


def _known(state: ProductState, index: int, degC: float, age_h: float) -> ProductState:
    """The state with another temperature and age of one place."""
    was, ages = state.temperatures_degC, state.ages_h
    less, more = [
        (*known[:index], 0.0, *known[index + 1 :]) if known else () for known in (state.younger_h, state.older_h)
    ]
    return replace(
        state, temperatures_degC=(*was[:index], degC, *was[index + 1 :]),
        ages_h=(*ages[:index], age_h, *ages[index + 1 :]), younger_h=less, older_h=more,
    )
