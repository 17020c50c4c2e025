"""Bugs, one for every invariant: what is broken, how, what has to happen before it shows, and who must name it.

Each stands in for a slip that somebody could make. `wrong` is given the right function and returns the wrong one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from controller.core.frames import Command, Outputs

NAN = float("nan")
Deed = Callable[[Any], object]  # what happens at the plant
Wrong = Callable[[Any], Any]
AT = 205  # in the hold, heat and fog at work


@dataclass(frozen=True, slots=True)
class Bug:
    """names: the invariant that must name it. where: module and function that are replaced. orders, deeds: scan ->
    what is ordered, what happens at the plant; without the bug they break nothing. lost: frames without a reply.
    """

    names: str
    says: str
    where: str
    wrong: Wrong
    orders: dict[int, str] = field(default_factory=dict)
    deeds: dict[int, Deed] = field(default_factory=dict)
    lost: tuple[int, int] = (0, 0)


def after(change: Callable[..., Any]) -> Wrong:
    """The right function, its result spoilt by `change`."""
    return lambda right: lambda *given, **named: change(right(*given, **named))


def instead(make: Callable[..., Any]) -> Wrong:
    """Another function altogether."""
    return lambda _right: make


def output(column: int, value: float) -> Callable[[Any], Any]:
    """actuation.actuate, an analog output replaced."""

    def change(result: Any) -> Any:
        state, outputs, achieved = result
        analog = tuple(value if n == column else was for n, was in enumerate(outputs.analog))
        outputs = Outputs(analog, outputs.discrete)
        return replace(state, wanted=outputs), outputs, achieved

    return change


def sequence_state(**changes: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """sequence.advance, fields of its state replaced by what `changes` make of the state while it runs."""

    def change(result: Any) -> Any:
        state, targets, events = result
        if state.state in ("running", "held"):
            state = replace(state, **{name: make(state) for name, make in changes.items()})
        return state, targets, events

    return change


def without(kind: str) -> Callable[[Any], Any]:
    """The last part of a result, without events of a kind."""
    return lambda result: (*result[:-1], tuple(event for event in result[-1] if event.kind != kind))


def fan_off(result: Any) -> Any:
    """protection.guard: the fan is taken away, the heat is not."""
    state, outputs, verdict = result
    if not outputs.discrete[1]:
        return result
    discrete = (False, *outputs.discrete[1:])
    return state, Outputs((0.0, *outputs.analog[1:]), discrete), replace(verdict, forced=True)


def forgets(number: int) -> Callable[[Any], Any]:
    """protection._causes: one row is never looked at."""
    return lambda causes: (*causes[:number], False, *causes[number + 1 :])


def let_through(_right: Any) -> Any:
    """protection._overrule: says what it blocks, and lets it through."""

    def overrule(*given: Any) -> Any:
        state, _final, forced, blocked = _right(*given)
        return state, given[2], forced, blocked

    return overrule


def stubborn(right: Any) -> Any:
    """climate.observe: goes on with the last good picture."""
    last: list[Any] = []

    def observe(*given: Any) -> Any:
        state, air = right(*given)
        if air.temperature_ok:
            last[:] = [air]
        return state, last[0] if last else air

    return observe


def fog_lamp(result: Any) -> Any:
    """alarms.update: the beacon's column is taken for that of a fog valve."""
    state, outputs, events = result
    discrete = list(outputs.discrete)
    discrete[2] = not discrete[2]
    return state, Outputs(outputs.analog, tuple(discrete)), events


def twice_as_old(right: Any) -> Any:
    """Runner._aged: counts every silent scan twice."""
    return lambda self, raw, kind, text: replace(right(self, raw, kind, text), age_scans=raw.age_scans + 2)


def deaf_to_trips(right: Any) -> Any:
    """alarms.update: is not given the trips."""
    return lambda *given: right(*given[:9], replace(given[9], trips=()), *given[10:])


def told_twice(result: Any) -> Any:
    """alarms.update: every event is told again."""
    state, outputs, events = result
    return state, outputs, (*events, *events)


def always_ready(right: Any) -> Any:
    """actuation._achieved: heat counts as available whatever the switch says."""
    return lambda heat_kW, fog, vent, fog_now, heat_now: right(60.0, fog, vent, fog_now, heat_now)


def integral(value: float) -> Callable[[Any], Any]:
    """allocation.allocate: an integral without a bound."""

    def change(result: Any) -> Any:
        state, demands = result
        return replace(state, temperature=replace(state.temperature, integral=value)), demands

    return change


def targets(**changes: float) -> Callable[[Any], Any]:
    """sequence.advance: what is asked of the loops, changed."""
    return lambda result: (result[0], replace(result[1], **changes), result[2])


def condition(name: str, closed: bool = False) -> Deed:
    """A contact of the panel opens."""
    return lambda plant: plant.chamber.set_condition(name, closed)


def while_open(name: str) -> dict[int, Deed]:
    """A contact of the panel is open for twenty scans."""
    return {AT: condition(name), AT + 20: condition(name, True)}


def lose_air(plant: Any) -> None:
    """Every air temperature probe fails at once."""
    for letter in "ABCDEFGH":
        plant.chamber.lose_probe(f"TT-101{letter}")


def in_hand(plant: Any) -> None:
    """The heating's switch is turned to hand."""
    plant.chamber.set_hand("heat", 30.0)


STOP = {AT: condition("estop_healthy")}
MANY = dict.fromkeys(range(20, 320), "reset-trips")
CORE = "controller.core."
BUGS: tuple[Bug, ...] = (
    Bug("output-range", "no number is sent to the valve", f"{CORE}actuation.actuation.actuate", after(output(1, NAN))),
    Bug("output-range", "percent above a hundred", f"{CORE}actuation.actuation.actuate", after(output(2, 100.5))),
    Bug("heat-without-air", "the fan is stopped, the heat is forgotten",
        f"{CORE}protection.protection.guard", after(fan_off)),
    Bug("cause-ignored", "nobody looks at the emergency stop",
        f"{CORE}protection.protection._causes", after(forgets(0)),
        deeds=STOP),
    Bug("cause-ignored", "nobody looks at the person inside", f"{CORE}protection.protection._causes", after(forgets(2)),
        deeds={AT: condition("person_healthy")}),
    Bug("tripped-output-on", "what is blocked is let through", f"{CORE}protection.protection._overrule", let_through,
        deeds=STOP),
    Bug("given-back", "a reset gives back what the person inside has stopped", f"{CORE}protection.protection.TAKES",
        instead({}), orders={AT + 25: "reset-trips"}, deeds=while_open("person_healthy")),
    Bug("given-back", "a cycle that is ended after a reset starts the fan", f"{CORE}protection.protection._WAITS",
        instead(("holding", "held")), orders={AT + 25: "reset-trips", AT + 30: "stop"},
        deeds=while_open("person_healthy")),
    Bug("given-back", "after an emergency stop the fan runs on as soon as it is reset",
        f"{CORE}protection.protection.TAKES", instead({}), orders={AT + 25: "reset-trips"},
        deeds=while_open("estop_healthy")),
    Bug("slew", "the drive's time is forgotten",
        f"{CORE}actuation.heating._toward", instead(lambda _now, wanted, _step: wanted)),
    Bug("owner", "the lamp's column is a valve's", f"{CORE}alarms.alarms.update", after(fog_lamp)),
    Bug("bad-reading-used", "the last good climate is kept for ever", f"{CORE}climate.climate.observe", stubborn,
        deeds={AT: lose_air}),
    Bug("reading-order", "silent scans count twice", "controller.runtime.loop.Runner._aged", twice_as_old,
        lost=(AT, 2)),
    Bug("procedure-edge", "a state that the table does not reach", f"{CORE}sequence.sequence.advance",
        after(sequence_state(state=lambda was: "restarting"))),
    Bug("unordered", "a stopped clock restarts by itself", f"{CORE}sequence.sequence.advance", after(sequence_state(
        state=lambda was: "restarting" if was.held_s > 20.0 else was.state,
        trail=lambda was: ("restarting",) if was.held_s > 20.0 else was.trail,
    )), orders={AT: "hold"}),
    Bug("phase-fell", "the phase goes on while the clock stands still", f"{CORE}sequence.sequence.advance",
        after(sequence_state(phase=lambda was: was.phase if was.state == "running" else 0)), orders={AT: "hold"}),
    Bug("phase-short", "a phase ends when it begins",
        f"{CORE}sequence.sequence.over", instead(lambda *_given: "phase time")),
    Bug("clock", "the clock runs twice as fast", f"{CORE}sequence.sequence.advance",
        after(sequence_state(cycle_s=lambda was: 2.0 * was.cycle_s))),
    Bug("ramp-rate", "the floor jumps", f"{CORE}sequence.sequence.advance",
        after(sequence_state(floor_degC=lambda was: was.floor_degC + 0.001 * was.cycle_s))),
    Bug("band", "floor and ceiling change places", f"{CORE}sequence.sequence.advance",
        after(targets(floor_degC=35.0, ceiling_degC=20.0))),
    Bug("integrator", "no number is learnt", f"{CORE}loops.allocation.allocate", after(integral(NAN))),
    Bug("integrator", "there is no end to learning", f"{CORE}loops.allocation.allocate", after(integral(2e3))),
    Bug("trip-alarm", "trips have no alarms", f"{CORE}alarms.alarms.update", deaf_to_trips, deeds=STOP),
    Bug("alarm-rate", "every alarm is told twice", f"{CORE}alarms.alarms.update", after(told_twice), deeds=STOP),
    Bug("queue", "no order is ever forgotten", f"{CORE}orders.commands.MEMORY", instead(1_000_000), orders=MANY),
    Bug("hand-unseen", "a switch in hand counts as automatic", f"{CORE}actuation.actuation._achieved", always_ready,
        deeds={AT: in_hand}),
    Bug("command-outcome", "an order is obeyed and not answered",
        f"{CORE}sequence.sequence.advance", after(without("command"))),
)


def order(scan: int, verb: str) -> Command:
    """An order of somebody."""
    return Command(f"{verb}-{scan}", verb, "test")
