"""Doors of a standing climate: what is set aside, what goes on, what is alarmed; and phases that people end."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import isnan
from typing import Any

import pytest

from controller.config.bundle import load_bundle
from controller.core.climate import climate
from controller.core.climate.climate import Climate
from controller.core.frames import Frame
from controller.core.points import Point, index_of
from controller.core.product.product import Product
from controller.core.sequence import ends, setaside
from controller.core.sequence.phases import PhasePlan
from controller.core.sequence.recipe import ChamberLimits, End, Phase, Recipe, problems
from controller.link.device import Device
from controller.link.layout import require_layout

STANDING = Phase(
    kind="hold", temperature_degC=32.0, rh_fog_below_pct=95.0, on_door="standing", door_keep_s=60.0,
    door_blind_s=120.0, end=End(by_operator=True),
)
FILL = Phase(
    kind="fill", floor_degC=10.0, ceiling_degC=30.0, fan_kg_per_s=4.0, on_door="standing",
    end=End(full=True, at_most_h=10.0),
)
YOUNG = (False,) * 72


@pytest.fixture(scope="module")
def watched() -> climate.ClimatePlan:
    """The climate of the demo chamber."""
    found = load_bundle("demo-north", "gentle", "demo-60", device_class=Device, layout=require_layout)
    return climate.bind(found.chamber.climate, found.points, found.chamber.bays, found.chamber.levels)


@pytest.fixture
def aside(watched: climate.ClimatePlan, points: tuple[Point, ...]) -> setaside.AsidePlan:
    columns = index_of(points, "DI")
    return setaside.bind(watched, tuple(columns[f"ZS-101{bay}"] for bay in "ABCDEF"), 6, 12)


@pytest.fixture
def standing(make_run: Callable[..., Any], air: Climate, product: Product) -> PhasePlan:
    plan: PhasePlan = make_run(air, product, STANDING).plan.phases[0]
    return plan


def watch(
    plan: setaside.AsidePlan, state: setaside.AsideState, frame: Frame, phase: PhasePlan | None, scans: int = 1,
    young: tuple[bool, ...] = YOUNG,
) -> setaside.AsideState:
    for _ in range(scans):
        state = setaside.watch(plan, state, frame, phase, young, 1.0)
    return state


def test_probes_of_an_opened_bay_weigh_nothing_until_some_time_after_its_door_shut(
    aside: setaside.AsidePlan, standing: PhasePlan, opened: Callable[..., Frame], frame: Frame
) -> None:
    state = watch(aside, setaside.initial(aside), opened("ZS-101C"), standing, 30)
    assert state.mask is not None
    assert state.mask.pairs == (True, True, False, False, True, True, True, True)
    assert all(state.mask.surfaces)
    state = watch(aside, state, frame, standing, 120)
    assert state.mask is not None
    state = watch(aside, state, frame, standing)
    assert state.mask is None
    assert watch(aside, state, frame, standing) is state


def test_a_frame_probe_goes_with_its_bay_and_a_settled_board_stays_watched(
    aside: setaside.AsidePlan, standing: PhasePlan, opened: Callable[..., Frame], watched: climate.ClimatePlan
) -> None:
    mask = watch(aside, setaside.initial(aside), opened("ZS-101A"), standing).mask
    assert mask is not None
    left_out = [
        name for name, counts in zip(watched.surface_names, mask.surfaces, strict=True) if not counts
    ]
    assert left_out == ["door frame bay 1"]


def test_young_boards_are_no_watched_surfaces(
    aside: setaside.AsidePlan, standing: PhasePlan, frame: Frame, watched: climate.ClimatePlan
) -> None:
    """The bottom board of bay 1 just came in, and the whole of bay 3: neither its probe nor an estimate counts."""
    young = tuple(place == 0 or 24 <= place < 36 for place in range(72))
    mask = watch(aside, setaside.initial(aside), frame, standing, young=young).mask
    assert mask is not None
    assert mask.surfaces[watched.surface_names.index("board bay 1 level 1")] is False
    assert mask.bays == (True, True, False, True, True, True)
    cold = replace(frame, values=tuple(5.0 if n == index_of_board(watched) else v for n, v in enumerate(frame.values)))
    before, _ = climate.observe(watched, climate.initial(watched), frame, 1.0)
    _, seen = climate.observe(watched, before, cold, 1.0)
    assert seen.surface == "board bay 1 level 1"
    _, seen = climate.observe(watched, before, cold, 1.0, mask)
    assert seen.surface != "board bay 1 level 1"
    assert seen.surface_degC > 20.0


def index_of_board(watched: climate.ClimatePlan) -> int:
    """Column of the board probe of bay 1."""
    columns = watched.surfaces(tuple(range(100)))  # type: ignore[arg-type]
    return int(columns[watched.surface_names.index("board bay 1 level 1")])


def test_with_every_probed_bay_open_the_air_is_still_known(
    aside: setaside.AsidePlan, standing: PhasePlan, opened: Callable[..., Frame], watched: climate.ClimatePlan
) -> None:
    everything = opened("ZS-101A", "ZS-101C", "ZS-101D", "ZS-101F")
    mask = watch(aside, setaside.initial(aside), everything, standing).mask
    _, seen = climate.observe(watched, climate.initial(watched), everything, 1.0, mask)
    assert seen.temperature_ok
    assert not isnan(seen.dew_point_degC)


def test_the_loops_keep_their_outputs_for_a_stated_time_only(
    aside: setaside.AsidePlan, standing: PhasePlan, opened: Callable[..., Frame]
) -> None:
    state = watch(aside, setaside.initial(aside), opened("ZS-101C"), standing, 60)
    assert setaside.keeps(state, standing)
    assert not setaside.keeps(watch(aside, state, opened("ZS-101C"), standing), standing)


def test_an_open_door_stops_fog_but_neither_heat_nor_clock_and_is_alarmed_after_ten_minutes(
    guard: Any, opened: Callable[..., Frame]
) -> None:
    guard.frame, guard.standing = opened("ZS-101C"), True
    verdict = guard.scan(599)
    assert (verdict.effect, verdict.trips, verdict.blocked) == ("none", (), ("fog",))
    assert guard.on()["heat"]
    verdict = guard.scan()
    assert (verdict.effect, verdict.trips) == ("none", ("door-long",))
    assert guard.on()["heat"]


def test_the_classic_cycle_keeps_its_door_row(guard: Any, opened: Callable[..., Frame]) -> None:
    guard.frame = opened("ZS-101C")
    assert guard.scan(30).trips == ("door-open",)


def test_a_standing_climate_ends_by_a_person_only(
    make_run: Callable[..., Any], air: Climate, product: Product
) -> None:
    run = make_run(air, product, STANDING)
    run.at(32.0)
    run.scan("start")
    run.hours(100.0)
    assert run.state.state == "running"
    run.scan("next-phase")
    assert run.outcome() == "done"
    run.scan()
    assert run.state.state == "complete"


def test_a_fill_ends_with_the_last_board_with_an_order_or_with_its_time(
    make_run: Callable[..., Any], air: Climate, product: Product, phases: dict[str, Phase]
) -> None:
    for ending in ("board", "order", "time"):
        run = make_run(air, product, FILL, phases["rest"])
        run.scan("start")
        run.hours(9.9)
        assert run.state.phase == 0
        assert not run.targets.heat
        if ending == "board":
            run.product = replace(product, full=True, ok=False)
            run.scan()
        elif ending == "order":
            run.scan("next-phase")
        else:
            run.hours(0.2)
        assert run.state.phase == 1, ending


def test_a_phase_with_conditions_of_its_own_is_not_ended_by_hand(run: Any) -> None:
    run.scan("next-phase")
    assert run.outcome().startswith("refused refused while idle")
    run.scan("start")
    run.scan("next-phase")
    assert run.outcome().startswith("refused phase 1 of 5, rest ends by its own conditions")


def test_what_makes_no_sense_in_a_fill_is_found() -> None:
    rest = Phase(kind="rest", temperature_degC=20.0, end=End(time_h=1.0))
    late = replace(FILL, on_door="hold")
    fields = [one.field for one in problems(Recipe(name="x", phases=(rest, late)), ChamberLimits())]
    assert fields == ["phases[1].on_door", "phases[1].kind"]
    full = replace(rest, end=End(full=True))
    fields = [one.field for one in problems(Recipe(name="x", phases=(FILL, full)), ChamberLimits())]
    assert fields == ["phases[1].end.full"]
    assert problems(Recipe(name="x", phases=(FILL, rest)), ChamberLimits()) == ()


def test_the_last_board_can_be_one_of_several_conditions(product: Product) -> None:
    both = ends.bind(replace(FILL, end=End(full=True, time_h=2.0, match="all")))
    full = replace(product, full=True)
    assert ends.over(both, 3600.0, 3600.0, 3600.0, full, False) == ""
    assert ends.over(both, 7200.0, 7200.0, 7200.0, full, False) == "all its conditions"
