"""What the sequence tells: phases that begin and end, states entered and why, and what it refuses in which words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.core.climate.climate import Climate
from controller.core.frames import Command, Event
from controller.core.product.product import Product
from controller.core.sequence import sequence
from controller.core.sequence.recipe import End, Phase
from controller.core.sequence.sequence import SequenceState

Run = Any  # what the fixtures `run` and `make_run` give
MakeRun = Callable[..., Run]
Phases = dict[str, Phase]


def kinds(run: Run, kind: str) -> list[Event]:
    return [event for event in run.events if event.kind == kind]


def moved(before: str, after: str, why: str) -> Event:
    return Event("state", "", f"{before} -> {after}: {why}", (("from", before), ("to", after), ("why", why)))


def test_a_phase_is_told_with_its_band_when_it_begins_and_with_its_times_when_it_is_over(
    make_run: MakeRun, phases: Phases, air: Climate, product: Product
) -> None:
    run = make_run(air, product, phases["rest"], phases["ramp"])
    run.at(23.0)
    run.scan("start")
    run.hours(1.0)
    assert kinds(run, "phase") == [
        Event("phase", "", "phase 1 of 2, rest: begins at 20.0 degC", (
            ("phase", 0), ("kind", "rest"), ("what", "begin"), ("floor_degC", 20.0), ("ceiling_degC", 20.0),
            ("cycle_s", 0.0),
        )),
        Event("phase", "", "phase 1 of 2, rest: over, phase time", (
            ("phase", 0), ("kind", "rest"), ("what", "end"), ("why", "phase time"), ("phase_s", 3600.0),
            ("waiting_s", 0.0),
        )),
        Event("phase", "", "phase 2 of 2, ramp: begins at 23.0 to 36.0 degC", (
            ("phase", 1), ("kind", "ramp"), ("what", "begin"), ("floor_degC", 23.0), ("ceiling_degC", 36.0),
            ("cycle_s", 3600.0),
        )),
    ]


def test_the_waiting_of_a_phase_is_told_when_it_is_over(
    make_run: MakeRun, phases: Phases, air: Climate, product: Product
) -> None:
    run = make_run(air, product, replace(phases["hold"], end=End(time_h=1.0, at_most_h=2.0)))
    run.scan("start")
    run.at(20.0)
    run.hours(2.0)
    end = dict(kinds(run, "phase")[-1].data)
    assert (end["why"], end["phase_s"], end["waiting_s"]) == ("longest time", 0.0, 7200.0)


def test_the_last_phase_completes_the_cycle_and_says_so(
    make_run: MakeRun, phases: Phases, air: Climate, product: Product
) -> None:
    run = make_run(air, product, replace(phases["cooldown"], end=End(time_h=0.05)))
    run.scan("start")
    run.hours(0.05)
    assert kinds(run, "state")[-1] == moved("running", "complete", "the last phase is over")
    assert (run.state.state, run.state.trail, run.state.rate_K_per_h) == ("complete", ("complete",), 0.0)
    assert run.targets is run.plan.rest


def test_every_state_that_is_entered_is_told_with_its_reason(run: Run) -> None:
    run.scan("start")
    run.scan("pause")
    run.scan()
    run.scan("resume")
    run.scan("hold")
    run.scan()
    run.scan("restart")
    run.scan()
    run.scan("stop")
    run.hours(0.1)
    run.scan("abort")
    run.scan()
    run.scan("reset")
    assert kinds(run, "state") == [
        moved("idle", "running", "start by anna"), moved("running", "pausing", "pause by anna"),
        moved("pausing", "paused", "done"), moved("paused", "running", "resume by anna"),
        moved("running", "holding", "hold by anna"), moved("holding", "held", "done"),
        moved("held", "restarting", "restart by anna"),
        moved("restarting", "running", "the setpoint is back where it stood"),
        moved("running", "stopping", "stop by anna"), moved("stopping", "stopped", "done"),
        moved("stopped", "aborting", "abort by anna"), moved("aborting", "aborted", "done"),
        moved("aborted", "idle", "reset by anna"),
    ]


@pytest.mark.parametrize(("effect", "after"), [("hold", "holding"), ("abort", "aborting"), ("door", "holding")])
def test_what_protection_asks_for_is_told(run: Run, effect: str, after: str) -> None:
    run.scan("start")
    run.scan()
    run.effect = effect
    run.scan()
    assert kinds(run, "state")[-1] == moved("running", after, f"protection asks for {effect}")


def test_a_restart_that_takes_too_long_says_so(run: Run) -> None:
    run.scan("start")
    run.hours(3.0, follow=True)
    run.scan("hold")
    run.scan()
    run.at(1.0)
    run.scan("restart")
    run.hours(6.1)
    assert kinds(run, "state")[-1] == moved("restarting", "running", "the restart took its longest time")


def refused(run: Run, verb: str, **args: Any) -> str:
    """Why this order is refused, "" when it is not."""
    command = Command("x", verb, "bert", tuple(sorted(args.items())))
    _state, _targets, events = sequence.advance(
        run.plan, run.state, (command,), run.air, run.product, run.effect, run.dt_s
    )
    data = dict(next(event for event in events if event.kind == "command").data)
    return str(data["reason"])


ACTS = "a protection still acts: remove its cause, reset trips, then give it again"
NO_AIR = "no good air temperature: mend the probes, then give it again"


def test_what_speaks_against_a_start(run: Run) -> None:
    assert refused(run, "start", recipe="trial") == ""
    assert refused(run, "start", recipe="other") == "the recipe loaded is trial, not other"
    assert refused(run, "start", other="other") == ""
    run.air = replace(run.air, temperature_ok=False)
    assert refused(run, "start") == NO_AIR
    run.effect = "door"
    assert refused(run, "start") == ACTS


@pytest.mark.parametrize(("stopped", "verb"), [("hold", "restart"), ("pause", "resume")])
@pytest.mark.parametrize(("on_door", "effect", "acts"), [
    ("hold", "door", True), ("continue", "door", False), ("continue", "hold", True), ("hold", "none", False),
])
def test_what_speaks_against_going_on(
    make_run: MakeRun, phases: Phases, air: Climate, product: Product, stopped: str, verb: str, on_door: Any,
    effect: str, acts: bool,
) -> None:
    run = make_run(air, product, replace(phases["hold"], on_door=on_door))
    run.scan("start")
    run.scan(stopped)
    run.scan()
    run.effect = effect
    assert refused(run, verb) == (ACTS if acts else "")
    assert refused(run, verb, recipe="other") == (ACTS if acts else "")
    assert refused(run, "stop") == ""
    run.air = replace(run.air, temperature_ok=False)
    assert refused(run, verb) == (ACTS if acts else NO_AIR)


def test_what_the_table_refuses_is_refused_in_its_words(run: Run) -> None:
    assert refused(run, "hold") == (
        "refused while idle: the clock can be stopped only while a cycle runs, pauses or restarts"
    )
    run.scan("start")
    assert refused(run, "start") == (
        "refused while running: the chamber must be idle: reset it after a finished or stopped cycle"
    )


def test_an_order_is_held_against_what_its_sender_saw_and_how_long_it_lay(run: Run) -> None:
    run.scan("start")
    run.scan("pause")
    run.scan()
    assert refused(run, "resume", seen="paused", age_s=30.0) == ""
    assert refused(run, "resume", seen="running") == (
        "stale: given while the chamber was running, it is paused now; look and give it again"
    )
    assert refused(run, "resume", age_s=30.5) == "stale: 30.5 s old, at most 30 s; give it again"


def test_acknowledging_all_is_answered_at_once(run: Run) -> None:
    run.scan("acknowledge")
    assert (run.outcome(), run.state.acknowledge, len(run.events)) == ("done", True, 1)


def test_who_locked_it_is_named(run: Run) -> None:
    command = (Command("x", "start", "bert"),)
    for locked, reason in (("locked out by ana", "locked out by ana; the lock must be lifted first"), ("", "")):
        _state, _targets, events = sequence.advance(
            run.plan, run.state, command, run.air, run.product, "none", 1.0, False, locked
        )
        assert dict(events[0].data)["reason"] == reason


FILL = Phase(kind="fill", floor_degC=10.0, ceiling_degC=30.0, end=End(full=True))
STANDING = Phase(kind="hold", temperature_degC=30.0, end=End(by_operator=True))
PARK = Phase(kind="park", floor_degC=5.0, ceiling_degC=40.0, end=End(empty=True))


@pytest.mark.parametrize("phase", [FILL, STANDING, PARK])
def test_a_person_ends_a_phase_that_is_left_to_people(
    make_run: MakeRun, phases: Phases, air: Climate, product: Product, phase: Phase
) -> None:
    run = make_run(air, product, phase, phases["vent"])
    run.scan("start")
    run.scan()
    run.events.clear()
    run.scan("next-phase")
    assert (run.state.phase, run.outcome()) == (1, "done")
    assert dict(run.events[1].data)["why"] == "ended by anna"
    assert [event.kind for event in run.events] == ["command", "phase", "phase"]
    run.scan("next-phase")
    reason = ("refused phase 2 of 2, vent ends by its own conditions: "
              "a person ends a fill, or a phase with by_operator = true or empty = true")
    assert (run.state.phase, run.outcome()) == (1, reason)


def test_an_order_to_end_a_phase_that_comes_twice_or_late_ends_one(
    make_run: MakeRun, air: Climate, product: Product
) -> None:
    run = make_run(air, product, STANDING, STANDING, STANDING, dt_s=1.0)
    run.scan("start")
    run.scan()
    assert refused(run, "next-phase", phase=2.0) == "given for phase 2, it is phase 1 now: look and give it again"
    assert refused(run, "next-phase", phase=1.0) == ""
    run.scan("next-phase")
    assert run.state.phase == 1
    young = "phase 2 of 3, hold began 1 s ago, it can be ended after 10 s: look and give it again"
    assert refused(run, "next-phase") == young
    assert refused(run, "next-phase", phase=2.0) == young
    assert refused(run, "next-phase", phase=1.0) == "given for phase 1, it is phase 2 now: look and give it again"
    for _ in range(8):
        run.scan()
    assert refused(run, "next-phase") == young.replace("1 s ago", "9 s ago")
    run.scan()
    assert refused(run, "next-phase") == ""
    assert refused(run, "next-phase", phase=2.0) == ""


@pytest.mark.parametrize("meant", [0.0, 3.0, 1.5, -1.0, True, "hold", float("nan")])
def test_the_phase_that_an_order_is_given_for_is_one_of_the_recipe(
    make_run: MakeRun, air: Climate, product: Product, meant: Any
) -> None:
    run = make_run(air, product, STANDING, STANDING)
    run.scan("start")
    assert refused(run, "next-phase", phase=meant).endswith("must be a whole number from 1 to 2")


def test_only_a_running_cycle_has_a_phase_to_end(
    make_run: MakeRun, air: Climate, product: Product
) -> None:
    run = make_run(air, product, STANDING, STANDING)
    assert refused(run, "next-phase") == "refused while idle: only a running cycle has a phase to end"
    run.scan("start")
    run.scan("hold")
    run.scan()
    assert refused(run, "next-phase") == "refused while held: only a running cycle has a phase to end"


def test_orders_for_others_are_passed_on_for_one_scan_and_answered_by_nobody_here(run: Run) -> None:
    orders = tuple(
        Command(verb, verb, "anna", args)
        for verb, args in (("acknowledge", (("tag", "limiter"),)), ("silence", ()), ("charge", ()), ("force", ()))
    )
    state, _targets, events = sequence.advance(run.plan, run.state, orders, run.air, run.product, "none", 1.0)
    assert state.for_alarms == orders[:2]
    assert state.passed_on == orders[2:]
    assert (state.acknowledge, events) == (False, ())
    for field in ("for_alarms", "passed_on"):
        alone = replace(run.state, **{field: orders[:1]})
        state, _targets, _events = sequence.advance(run.plan, alone, (), run.air, run.product, "none", 1.0)
        assert (state.for_alarms, state.passed_on) == ((), ())


@pytest.mark.parametrize("verb", ["start", "reset"])
def test_a_start_or_reset_keeps_what_else_was_ordered_in_its_scan(run: Run, verb: str) -> None:
    if verb == "reset":
        run.scan("start")
        run.scan("abort")
        run.scan()
    others = [
        Command("a", "reset-trips", "anna"), Command("b", "acknowledge", "anna"), Command("c", "silence", "anna"),
        Command("d", "charge", "anna"),
    ]
    given = (*others, Command("e", verb, "anna"))
    state, _targets, _events = sequence.advance(run.plan, run.state, given, run.air, run.product, "none", 1.0)
    assert state.reset == (("a", "anna"),)
    assert state.acknowledge
    assert state.for_alarms == (others[2],)
    assert state.passed_on == ((others[3], given[-1]) if verb == "start" else (others[3],))
    assert state.trail == (("running",) if verb == "start" else ("idle",))
    assert state.commands.ids[-5:] == ("a", "b", "c", "d", "e")


def test_a_start_begins_with_every_clock_at_nought(run: Run) -> None:
    run.scan("start")
    run.hours(2.0)
    run.scan("stop")
    run.hours(0.2)
    run.scan("reset")
    assert replace(run.state, commands=sequence.initial(run.plan).commands, trail=()) == sequence.initial(run.plan)
    run.scan("start")
    state: SequenceState = run.state
    assert (state.phase, state.phase_s, state.cycle_s, state.held_s, state.waiting_s) == (0, 0.0, 0.0, 0.0, 0.0)
    assert state.hold_start_s is None
