"""The sequence's states: what commands and protections do in each, and how a restart goes on."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.climate.climate import Climate
from controller.core.frames import Command
from controller.core.orders.procedure import AT_REST, COMMANDS, EDGES, STATES, after_command
from controller.core.orders.verbs import RESET_TRIPS
from controller.core.product.product import Product
from controller.core.sequence import sequence
from controller.core.sequence.recipe import Phase

Run = Any  # what the fixtures `run` and `make_run` give
MakeRun = Callable[..., Run]
Phases = dict[str, Phase]


def into(run: Run, state: str) -> Run:
    """Bring a run into a procedural state by commands only."""
    ways = {
        "idle": (), "running": ("start",), "pausing": ("start", "pause"), "paused": ("start", "pause", ""),
        "holding": ("start", "hold"), "held": ("start", "hold", ""), "restarting": ("start", "hold", "", "restart"),
        "stopping": ("start", "stop"), "aborting": ("start", "abort"), "aborted": ("start", "abort", ""),
    }
    if state in ways:
        for verb in ways[state]:
            run.scan(*([verb] if verb else []))
    else:
        run.scan("start")
        run.scan("stop") if state == "stopped" else None
        run.product = replace(run.product, age_h_min=30.0)
        for _ in range(5000):
            if run.state.state == state:
                break
            if state == "complete":
                run.at(run.targets.floor_degC)
            run.scan()
    assert run.state.state == state
    return run


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("verb", COMMANDS)
def test_every_command_in_every_state_has_one_outcome_and_obeys_the_table(run: Run, state: str, verb: str) -> None:
    """Goal: all 96 cells through the sequence itself. Method: reach the state by commands, give one more."""
    into(run, state)
    before, run.events = run.state, []
    run.scan(verb)
    undisturbed = sequence.advance(run.plan, before, (), run.air, run.product, "none", run.dt_s)[0]
    wanted = after_command(state, verb)
    outcomes = [event for event in run.events if event.kind == "command"]
    assert len(outcomes) == 1
    assert dict(outcomes[0].data)["outcome"] == ("refused" if wanted is None else "done")
    if wanted is not None:
        assert run.state.trail[0] == wanted
    else:
        said = dict(outcomes[0].data)
        assert str(said["reason"]).startswith(f"refused while {state}: ")
        assert (said["verb"], said["who"]) == (verb, "anna")
        assert replace(run.state, commands=undisturbed.commands) == undisturbed, "it changes nothing"
        assert verb not in [dict(event.data).get("why") for event in run.events if event.kind == "state"]
        assert run.state.phase == before.phase


def test_a_stopped_clock_stands_still_and_the_climate_is_kept(run: Run) -> None:
    run.scan("start")
    run.hours(0.5)
    asked = run.targets
    run.scan("hold")
    clocks = (run.state.phase_s, run.state.cycle_s)
    run.hours(2.0)
    assert run.state.state == "held"
    assert (run.state.phase_s, run.state.cycle_s) == clocks
    assert run.state.held_s == pytest.approx(7200.0, abs=120.0)
    assert run.targets == asked
    assert run.targets.heat


def test_restart_goes_on_where_it_stood_from_the_measured_mean(run: Run) -> None:
    """Goal: a restart never begins the phase anew. Method: chill the chamber by 1 K while held in a ramp."""
    run.scan("start")
    run.hours(3.0, follow=True)
    run.scan("hold")
    run.scan()
    stood, phase_s = run.state.floor_degC, run.state.phase_s
    run.at(stood - 1.0)
    run.scan("restart")
    assert run.targets.floor_degC == pytest.approx(stood - 1.0)
    run.hours(0.25)
    assert (run.state.state, run.state.phase_s) == ("restarting", phase_s)
    run.hours(0.5)
    assert run.state.state == "running"
    assert run.state.phase == 1
    assert run.state.phase_s >= phase_s
    assert run.state.floor_degC == pytest.approx(stood, abs=0.3)


def test_a_restart_that_is_held_again_remembers_where_it_first_stood(run: Run) -> None:
    run.scan("start")
    run.hours(3.0, follow=True)
    stood = run.state.floor_degC
    run.scan("hold")
    run.scan()
    run.at(stood - 1.0)
    for verb in ("restart", "", "hold", ""):
        run.scan(*([verb] if verb else []))
    assert run.state.state == "held"
    assert run.state.floor_degC < stood - 0.5
    run.scan("restart")
    run.hours(1.0)
    assert run.state.state == "running"
    assert run.state.floor_degC >= stood


def test_stop_ends_in_order_and_abort_at_once(run: Run) -> None:
    run.scan("start")
    run.scan("stop")
    asked = run.targets
    assert (asked.heat, asked.fog, asked.vent) == (False, False, True)
    assert asked.fan_pct > 0.0
    run.hours(0.1)
    assert run.state.state == "stopped"
    run.scan("reset")
    run.scan("start")
    run.scan("abort")
    assert (run.targets.heat, run.targets.fog, run.targets.fan_pct) == (False, False, 0.0)
    assert run.scan().state == "aborted"


@pytest.mark.parametrize(("effect", "state"), [("hold", "held"), ("door", "held"), ("abort", "aborted")])
def test_a_protection_stops_the_clock_or_aborts_and_nothing_goes_on_by_itself(
    run: Run, effect: str, state: str
) -> None:
    run.scan("start")
    run.effect = effect
    run.scan()
    run.scan()
    assert run.state.state == state
    run.effect = "none"
    run.hours(1.0)
    assert run.state.state == state


def test_restart_and_start_are_refused_while_a_protection_acts(run: Run) -> None:
    run.effect = "hold"
    run.scan("start")
    assert (run.state.state, run.outcome()[:7]) == ("idle", "refused")
    run.effect = "none"
    run.scan("start")
    run.effect = "hold"
    run.scan()
    run.scan()
    run.scan("restart")
    assert run.state.state == "held"
    assert "remove its cause" in run.outcome()


def test_an_open_door_does_not_stop_a_phase_that_goes_on(
    make_run: MakeRun, phases: Phases, air: Climate, product: Product
) -> None:
    run = make_run(air, product, replace(phases["hold"], on_door="continue"))
    run.scan("start")
    run.effect = "door"
    run.scan()
    assert run.state.state == "running"


def test_start_is_refused_without_a_good_temperature_and_for_another_recipe(run: Run) -> None:
    run.air = replace(run.air, temperature_ok=False)
    run.scan("start")
    assert "no good air temperature" in run.outcome()
    command = Command("x", "start", "anna", (("recipe", "other"),))
    state, _, events = sequence.advance(
        run.plan, run.state, (command,), replace(run.air, temperature_ok=True), run.product, "none", 1.0
    )
    assert state.state == "idle"
    assert "the recipe loaded is trial" in events[0].text


def test_abort_after_start_in_one_scan_is_not_lost(run: Run) -> None:
    run.scan("start", "abort")
    assert (run.state.state, run.state.trail) == ("aborting", ("running", "aborting"))


@pytest.mark.parametrize("before", [(), ("start",), ("start", "hold"), ("start", "pause"), ("start", "stop")])
def test_reset_trips_and_acknowledge_are_passed_on_for_one_scan(run: Run, before: tuple[str, ...]) -> None:
    """In every state, at work or at rest: what is not passed on is never answered."""
    for verb in before:
        run.scan(verb)
        run.scan()
    run.scan(RESET_TRIPS, "acknowledge")
    assert ([who for _id, who in run.state.reset], run.state.acknowledge) == (["anna"], True)
    run.scan()
    assert (run.state.reset, run.state.acknowledge) == ((), False)


def test_the_state_is_plain_json(run: Run) -> None:
    run.scan("start")
    json.dumps(asdict(run.state), allow_nan=False)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from((*COMMANDS, "", "", "", "")),
            st.sampled_from(("none", "none", "none", "hold", "abort", "door")),
            st.floats(10.0, 40.0),
        ),
        max_size=60,
    )
)
def test_any_story_keeps_to_the_table_with_clocks_that_never_fall(
    make_run: MakeRun, phases: Phases, story: list[tuple[str, str, float]]
) -> None:
    """Goal: no sequence of commands, trips and temperatures breaks the table. Method: random stories of 60 scans of
    ten minutes, every edge checked against the table, clocks and phase compared from scan to scan."""
    air = Climate(*(20.0,) * 8, "x", *(20.0,) * 11, True, True, True)
    product = Product(31.0, 32.0, 30.0, 0.0, "neutral", 12.0, 12.0, 12.0, 5.0, 0.0, True)
    run = make_run(air, product, *phases.values(), dt_s=600.0)
    for verb, effect, degC in story:
        before = run.state
        run.at(degC)
        run.effect = effect
        now = run.scan(*([verb] if verb else []))
        steps = zip((before.state, *now.trail), now.trail, strict=False)
        assert all(edge in EDGES for edge in steps)
        assert now.state == (now.trail[-1] if now.trail else before.state)
        if before.state not in AT_REST and now.state != "idle":
            assert now.phase >= before.phase
            assert now.cycle_s >= before.cycle_s
    outcomes = [event for event in run.events if event.kind == "command"]
    assert len(outcomes) == run.sent == run.state.commands.outcomes
