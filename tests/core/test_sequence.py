"""The sequence: what each state does to clocks and setpoints, holdback, ends, and what commands and trips do."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core import sequence
from controller.core.climate import Climate
from controller.core.commands import RESET_TRIPS
from controller.core.frames import Command, Event
from controller.core.procedure import AT_REST, COMMANDS, EDGES, STATES, after_command
from controller.core.product import Product
from controller.core.recipe import ChamberLimits, End, Phase, Recipe
from controller.core.sequence import SequenceConfig, SequencePlan, SequenceState

REST = Phase(kind="rest", temperature_degC=20.0, rh_fog_below_pct=95.0, end=End(time_h=1.0))
RAMP = Phase(kind="ramp", floor_degC=30.0, ceiling_degC=36.0, rate_K_per_h=1.0, rh_fog_below_pct=95.0)
HOLD = Phase(kind="hold", floor_degC=30.0, ceiling_degC=36.0, rh_fog_below_pct=95.0, end=End(equivalent_age_h=20.0))
COOL = Phase(kind="cooldown", temperature_degC=26.0, rate_K_per_h=2.0)
VENT = Phase(kind="vent", temperature_degC=20.0, end=End(time_h=0.5))
DT_S = 60.0


def plan_of(*phases: Phase, **config: Any) -> SequencePlan:
    return sequence.bind(SequenceConfig(**config), Recipe(name="trial", phases=phases), ChamberLimits())


class Run:
    """Drives a sequence with a chamber that is whatever the test says."""

    def __init__(self, plan: SequencePlan, air: Climate, product: Product, dt_s: float = DT_S) -> None:
        self.plan, self.air, self.product, self.dt_s = plan, air, product, dt_s
        self.state = sequence.initial(plan)
        self.targets = plan.rest
        self.effect = "none"
        self.fighting = False
        self.events: list[Event] = []
        self.sent = 0

    def scan(self, *verbs: str) -> SequenceState:
        commands = []
        for verb in verbs:
            self.sent += 1
            commands.append(Command(str(self.sent), verb, "anna"))
        self.state, self.targets, events = sequence.advance(
            self.plan, self.state, tuple(commands), self.air, self.product, self.effect, self.dt_s, self.fighting
        )
        self.events.extend(events)
        return self.state

    def at(self, degC: float) -> None:
        """Air temperature everywhere."""
        self.air = replace(self.air, temperature_degC=degC, coldest_degC=degC, hottest_degC=degC)

    def hours(self, hours: float, follow: bool = False) -> None:
        for _ in range(round(hours * 3600.0 / self.dt_s)):
            if follow:
                self.at(self.targets.floor_degC)
            self.scan()

    def outcome(self) -> str:
        """Outcome of the last command, with its reason."""
        data = dict(next(event for event in reversed(self.events) if event.kind == "command").data)
        return f"{data['outcome']} {data['reason']}".strip()


@pytest.fixture
def run(air: Climate, product: Product) -> Run:
    made = Run(plan_of(REST, RAMP, HOLD, COOL, VENT), air, product)
    made.at(20.0)
    return made


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


def test_idle_asks_for_nothing_and_costs_no_new_state(run: Run) -> None:
    before = run.state
    assert run.scan() is before
    asked = run.targets
    assert (asked.heat, asked.fog, asked.vent, asked.fan_pct) == (False, False, False, 0.0)


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("verb", COMMANDS)
def test_every_command_in_every_state_has_one_outcome_and_obeys_the_table(run: Run, state: str, verb: str) -> None:
    """Goal: all 96 cells through the sequence itself. Method: reach the state by commands, give one more."""
    into(run, state)
    before, run.events = run.state, []
    run.scan(verb)
    wanted = after_command(state, verb)
    outcomes = [event for event in run.events if event.kind == "command"]
    assert len(outcomes) == 1
    assert dict(outcomes[0].data)["outcome"] == ("refused" if wanted is None else "done")
    if wanted is not None:
        assert run.state.trail[0] == wanted
    else:
        assert dict(outcomes[0].data)["reason"]
        assert verb not in [dict(event.data).get("why") for event in run.events if event.kind == "state"]
        assert run.state.phase == before.phase


def test_a_whole_cycle_goes_through_its_phases_in_order_and_completes(run: Run) -> None:
    run.scan("start")
    run.product = replace(run.product, age_h_min=12.0)
    run.hours(14.0, follow=True)
    assert run.state.phase == 2
    run.product = replace(run.product, age_h_min=20.0)
    run.hours(4.0, follow=True)
    assert run.state.state == "complete"
    begun = [dict(event.data)["kind"] for event in run.events if dict(event.data).get("what") == "begin"]
    assert begun == ["rest", "ramp", "hold", "cooldown", "vent"]
    assert run.state.hold_start_s == pytest.approx(11.0 * 3600.0, abs=600.0)
    assert (run.targets.heat, run.targets.fog, run.targets.vent) == (False, False, False)


def test_a_ramp_starts_from_the_measured_mean_and_moves_by_its_rate(run: Run) -> None:
    run.scan("start")
    run.at(23.0)
    run.hours(1.0)
    assert (run.state.phase, run.state.floor_degC, run.targets.ceiling_degC) == (1, 23.0, 36.0)
    run.hours(1.0, follow=True)
    assert run.state.floor_degC == pytest.approx(24.0, abs=0.02)
    assert run.targets.rate_K_per_h == pytest.approx(1.0, abs=0.01)


def test_a_ramp_of_one_setpoint_moves_floor_and_ceiling_together(air: Climate, product: Product) -> None:
    run = Run(plan_of(replace(RAMP, floor_degC=None, ceiling_degC=None, temperature_degC=30.0), HOLD), air, product)
    run.at(20.0)
    run.scan("start")
    run.hours(2.0, follow=True)
    assert run.targets.floor_degC == run.targets.ceiling_degC == pytest.approx(22.0, abs=0.02)


def test_the_clock_of_a_ramp_waits_for_the_mean_and_goes_on_with_it(run: Run) -> None:
    run.scan("start")
    run.hours(1.0)
    run.hours(3.0)  # the air stays at 20
    floor, phase_s = run.state.floor_degC, run.state.phase_s
    assert floor == pytest.approx(21.0, abs=0.02)
    run.hours(1.0)
    assert (run.state.floor_degC, run.state.phase_s) == (floor, phase_s)
    assert run.state.waiting_s == pytest.approx(3.0 * 3600.0, abs=120.0)
    assert run.targets.rate_K_per_h == 0.0
    run.at(20.5)
    run.scan()
    assert run.state.floor_degC > floor


def test_waiting_too_long_is_flagged_and_the_flag_goes_with_the_phase(run: Run) -> None:
    run.scan("start")
    run.hours(1.0)
    run.hours(4.9)
    assert not run.state.waiting_long
    run.hours(0.3)
    assert run.state.waiting_long
    run.at(30.5)
    run.scan()
    run.scan()
    assert (run.state.phase, run.state.waiting_long, run.state.waiting_s) == (2, False, 0.0)


@pytest.mark.parametrize("reason", ["humidity", "fighting", "no reading"])
def test_a_ramp_also_waits_for_dry_boards_for_a_fight_and_for_readings(
    air: Climate, product: Product, reason: str
) -> None:
    run = Run(plan_of(replace(RAMP, ramp_rh_floor_pct=94.0), HOLD), air, product)
    run.at(20.0)
    run.air = replace(run.air, surface_degC=19.9, dew_limit_degC=19.75)
    run.scan("start")
    run.scan()
    floor = run.state.floor_degC
    assert floor > 20.0
    if reason == "humidity":
        run.air = replace(run.air, surface_degC=17.0, dew_limit_degC=16.85)
    elif reason == "fighting":
        run.fighting = True
    else:
        run.air = replace(run.air, temperature_degC=float("nan"))
    run.scan()
    assert run.state.floor_degC == floor
    assert run.state.waiting_s == DT_S


def test_hold_starts_when_the_coldest_probe_is_in_band_before_the_setpoint_is_there(run: Run) -> None:
    run.scan("start")
    run.hours(1.5, follow=True)
    assert run.state.floor_degC < 21.0
    run.air = replace(run.air, temperature_degC=30.3, coldest_degC=29.7)
    run.scan()
    assert run.state.phase == 1
    run.air = replace(run.air, coldest_degC=29.8)
    run.scan()
    assert (run.state.phase, run.targets.floor_degC, run.targets.ceiling_degC) == (2, 30.0, 36.0)


def test_targets_are_the_same_object_while_nothing_moves(run: Run) -> None:
    run.scan("start")
    run.scan()
    first = run.targets
    run.scan()
    assert run.targets is first


def test_a_hold_waits_too_while_the_mean_is_far_below(air: Climate, product: Product) -> None:
    run = Run(plan_of(replace(HOLD, end=End(time_h=1.0))), air, product)
    run.scan("start")
    run.hours(0.5)
    run.at(28.9)
    run.hours(3.0)
    assert run.state.phase_s == pytest.approx(1800.0)
    run.at(30.0)
    run.hours(0.5)
    assert run.state.state == "complete"


@pytest.mark.parametrize(
    ("end", "changes", "ends"),
    [
        (End(equivalent_age_h=12.0), {}, True),
        (End(equivalent_age_h=12.1), {}, False),
        (End(equivalent_age_h=12.0), {"ok": False}, False),
        (End(strength_MPa=5.0), {}, True),
        (End(strength_MPa=5.1), {}, False),
        (End(product_degC_above=31.0), {}, True),
        (End(product_degC_above=31.1), {}, False),
        (End(product_degC_below=32.0), {}, True),
        (End(product_degC_below=31.9), {}, False),
        (End(in_band=True), {}, True),
        (End(equivalent_age_h=12.0, at_least_h=1.0), {}, False),
        (End(match="all", equivalent_age_h=12.0, strength_MPa=5.1), {}, False),
        (End(match="all", equivalent_age_h=12.0, strength_MPa=5.0), {}, True),
        (End(match="any", equivalent_age_h=12.1, strength_MPa=5.0), {}, True),
        (End(match="all", equivalent_age_h=12.0, cycle_h=0.5), {}, False),
        (End(by_operator=True), {}, False),
    ],
)
def test_end_conditions(air: Climate, product: Product, end: End, changes: dict[str, Any], ends: bool) -> None:
    """A hold in band with product of 12 h, 5 MPa, core 31 (32 the hottest): does it end in its first scan?"""
    run = Run(plan_of(replace(HOLD, end=end)), air, replace(product, **changes))
    run.scan("start")
    run.scan()
    assert (run.state.state == "complete") is ends


def test_longest_time_ends_a_phase_that_waits_forever(air: Climate, product: Product) -> None:
    run = Run(plan_of(replace(RAMP, end=End(in_band=True, at_most_h=2.0)), HOLD), air, product)
    run.at(15.0)
    run.scan("start")
    run.hours(1.9)
    assert run.state.phase == 0
    run.hours(0.2)
    assert run.state.phase == 1


def test_cooldown_lets_the_ceiling_down_without_heat_and_with_vent(air: Climate, product: Product) -> None:
    run = Run(plan_of(COOL, VENT), air, product)
    run.scan("start")
    run.hours(1.0)
    assert run.targets.ceiling_degC == pytest.approx(28.0, abs=0.05)
    assert (run.targets.heat, run.targets.vent, run.targets.fog) == (False, True, False)
    run.hours(1.1)
    assert run.state.phase == 1


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


def test_an_open_door_does_not_stop_a_phase_that_goes_on(air: Climate, product: Product) -> None:
    run = Run(plan_of(replace(HOLD, on_door="continue")), air, product)
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
def test_any_story_keeps_to_the_table_with_clocks_that_never_fall(story: list[tuple[str, str, float]]) -> None:
    """Goal: no sequence of commands, trips and temperatures breaks the table. Method: random stories of 60 scans of
    ten minutes, every edge checked against the table, clocks and phase compared from scan to scan."""
    air = Climate(*(20.0,) * 8, "x", *(20.0,) * 11, True, True, True)
    product = Product(31.0, 32.0, 30.0, 0.0, "neutral", 12.0, 12.0, 12.0, 5.0, 0.0, True)
    run = Run(plan_of(REST, RAMP, HOLD, COOL, VENT), air, product, dt_s=600.0)
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
