"""The air that is found after an outage: judged once it can be believed, and near enough for a phase to go on alone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import inf
from typing import Any

import pytest

from controller.core.climate.climate import Climate
from controller.core.frames import Command
from controller.core.orders.procedure import CONTROLLED
from controller.core.orders.verbs import RESUMING
from controller.core.product.product import Product
from controller.core.sequence import sequence
from controller.core.sequence.phase_kinds import APART_K, KINDS, RESTART_S, PhaseKind
from controller.core.sequence.recipe import End, Phase

Run = Any  # what the fixture `make_run` gives
MakeRun = Callable[..., Run]
HOLD = Phase(kind="hold", floor_degC=28.0, ceiling_degC=34.0, end=End(by_operator=True))
MINUTE = round(RESTART_S)


@pytest.fixture
def back(make_run: MakeRun, air: Climate, product: Product) -> Callable[..., Run]:
    """A controller that is back in some state of a phase, its clock stopped or not; scans of a second."""

    def make(state: str = "held", phase: Phase = HOLD, **changes: Any) -> Run:
        run = make_run(air, product, phase, dt_s=1.0)
        run.scan("start")
        run.state = replace(run.state, state=state, back_s=0.0, **changes)
        return run

    return make


def lives(run: Run, scans: int) -> Run:
    for _ in range(scans):
        run.scan()
    return run


def by_itself(run: Run) -> str:
    """What becomes of the restart that the runtime orders."""
    run.state, run.targets, events = sequence.advance(
        run.plan, run.state, (Command("outage-9-restart", "restart", RESUMING),), run.air, run.product, "none", 1.0
    )
    run.events.extend(events)
    return str(run.outcome())


@pytest.mark.parametrize("degC", [4.9, 45.1])
@pytest.mark.parametrize("state", sorted(CONTROLLED - {"pausing", "holding"}))
def test_air_beyond_the_limits_ends_the_cycle_after_a_minute_whatever_its_clock_does(
    back: Callable[..., Run], state: str, degC: float
) -> None:
    run = back(state)
    run.at(degC)
    lives(run, MINUTE - 1)
    before = run.state.state
    assert before in CONTROLLED
    run.scan()
    assert (run.state.state, run.state.back_s) == ("aborting", -1.0)
    event = run.events[-1]
    assert event.kind == "state"
    assert event.text.startswith(f"{before} -> aborting: ")
    assert event.data[:2] == (("from", before), ("to", "aborting"))
    assert f"after the outage the air is {degC:.1f} degC, outside 5 to 45 degC, the limits of this cham" in event.text
    assert "have the product judged; when it is good, reset, then start with its age" in event.text
    assert lives(run, 2).state.state == "aborted"


@pytest.mark.parametrize("degC", [5.0, 20.0, 45.0])
def test_air_inside_the_limits_is_judged_once_and_the_clock_stays_where_it_is(
    back: Callable[..., Run], degC: float
) -> None:
    run = back()
    run.at(degC)
    lives(run, MINUTE)
    assert (run.state.state, run.state.back_s) == ("held", -1.0)
    run.at(3.0)
    assert lives(run, 2 * MINUTE).state.state == "held", "what comes later is no matter of the outage"


@pytest.mark.parametrize(("effect", "ok"), [("hold", True), ("door", True), ("none", False)])
def test_cold_air_is_believed_only_after_a_whole_minute_of_good_probes_and_no_protection(
    back: Callable[..., Run], effect: str, ok: bool
) -> None:
    run = back()
    run.at(3.0)
    lives(run, MINUTE - 1)
    run.effect, run.air = effect, replace(run.air, temperature_ok=ok)
    lives(run, 5 * MINUTE)
    assert (run.state.state, run.state.back_s) == ("held", 0.0)
    run.effect, run.air = "none", replace(run.air, temperature_ok=True)
    assert lives(run, MINUTE - 1).state.state == "held"
    assert lives(run, 1).state.state == "aborting"


def test_air_that_is_too_hot_is_believed_although_it_has_tripped_its_row(back: Callable[..., Run]) -> None:
    run = back()
    run.at(49.0)
    run.effect = "hold"
    assert lives(run, MINUTE).state.state == "aborting"


def test_air_at_the_limit_itself_is_not_yet_too_hot(back: Callable[..., Run]) -> None:
    run = back()
    run.at(45.0)
    run.effect = "hold"
    assert lives(run, 2 * MINUTE).state.back_s == 0.0


def test_the_minute_goes_on_when_the_clock_stops_in_it(back: Callable[..., Run]) -> None:
    run = back("running")
    run.at(3.0)
    lives(run, MINUTE // 2)
    run.scan("hold")
    lives(run, MINUTE // 2 - 2)
    assert run.state.state == "held"
    run.scan()
    assert run.state.state == "aborting"


@pytest.mark.parametrize("kind", KINDS)
def test_the_table_says_in_which_phases_air_matters(back: Callable[..., Run], kind: PhaseKind) -> None:
    row = KINDS[kind]
    phase = Phase(kind=kind, floor_degC=20.0, ceiling_degC=30.0, rate_K_per_h=1.0 if row.moves else None,
                  rh_vent_above_pct=60.0 if row.dries else 0.0, end=End(by_operator=True))
    run = back(phase=phase)
    run.at(2.0)
    lives(run, MINUTE)
    assert run.state.state == ("aborting" if row.sets else "held")
    assert (run.plan.phases[0].air_degC_max < inf) is row.sets
    if not row.sets:
        assert by_itself(run) == "done"


def test_fresh_and_warming_product_is_what_sets() -> None:
    assert {name for name, kind in KINDS.items() if kind.sets} == {"rest", "ramp", "hold", "cooldown"}


@pytest.mark.parametrize(
    ("degC", "off"), [(22.9, True), (23.0, False), (39.0, False), (39.1, True)]
)
def test_a_phase_restarts_by_itself_only_near_its_band_and_a_person_restarts_it_anywhere(
    back: Callable[..., Run], degC: float, off: bool
) -> None:
    assert APART_K == 5.0
    run = back()
    run.at(degC)
    said = by_itself(run)
    if off:
        assert said == (
            f"refused the air is {degC:.1f} degC, more than 5 K off its band of 28.0 to 34.0 degC:"
            " look at chamber and product, then restart it yourself"
        )
        assert run.state.state == "held"
    else:
        assert said == "done"
    person = back()
    person.at(degC)
    assert person.scan("restart").state == "restarting"


def test_an_outage_in_the_middle_of_a_restart_goes_by_the_band_that_it_went_back_to(back: Callable[..., Run]) -> None:
    held = {"floor_degC": 24.0, "ceiling_degC": 24.0, "resume_floor_degC": 31.0}
    for degC, said in ((26.0, "done"), (25.9, "refused"), (36.0, "done"), (36.1, "refused")):
        run = back(**held)
        run.at(degC)
        assert by_itself(run).split()[0] == said


def test_a_cycle_that_ends_has_no_air_to_be_judged(back: Callable[..., Run]) -> None:
    run = back()
    run.at(3.0)
    run.scan("abort")
    assert run.state.back_s == -1.0
    assert lives(run, 2 * MINUTE).state.state == "aborted"
