"""Every kind of phase: what it may do, what an open door does in it, and the phases of a chamber that is empty."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import log
from typing import Any, get_args

import pytest

from controller.core.alarms import causes as alarm_causes
from controller.core.alarms.alarms import AlarmsConfig
from controller.core.climate.climate import Climate
from controller.core.loops import constraints
from controller.core.product.product import Product
from controller.core.sequence.phase_kinds import (
    DOOR,
    KINDS,
    OnDoor,
    OnOutage,
    PhaseKind,
    classed,
    ordered_after,
    outage_words,
)
from controller.core.sequence.recipe import ChamberLimits, End, Phase, Recipe, problems

Run = Any  # what the fixture `make_run` gives
MakeRun = Callable[..., Run]
LIMITS = ChamberLimits()
PARK = Phase(kind="park", floor_degC=5.0, ceiling_degC=40.0, rh_fog_below_pct=94.0, fan_off_s=1200.0,
             end=End(by_operator=True))
DRY = Phase(kind="dry-out", floor_degC=25.0, ceiling_degC=40.0, rh_vent_above_pct=60.0, end=End(in_band=True))
WAIT = Phase(kind="standby", floor_degC=6.0, ceiling_degC=40.0, rh_vent_above_pct=70.0, end=End(by_operator=True))


def phase_of(kind: PhaseKind, on_door: OnDoor) -> Phase:
    """A sound phase of a kind that ends by a person only."""
    return Phase(
        kind=kind, floor_degC=5.0, ceiling_degC=40.0, on_door=on_door, rate_K_per_h=1.0 if KINDS[kind].moves else None,
        rh_fog_below_pct=90.0 if KINDS[kind].fogs else 0.0, rh_vent_above_pct=60.0 if KINDS[kind].dries else 0.0,
        end=End(by_operator=True),
    )


def test_every_kind_has_its_row() -> None:
    assert set(KINDS) == set(get_args(PhaseKind))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("on_door", DOOR)
def test_an_open_door_stops_the_clock_in_a_phase_or_does_not_as_the_table_says(
    make_run: MakeRun, air: Climate, product: Product, kind: PhaseKind, on_door: OnDoor
) -> None:
    run = make_run(air, product, phase_of(kind, on_door))
    run.scan("start")
    run.effect = "door"
    run.hours(0.1)
    stops = DOOR[on_door][2] == "clock stops"
    assert run.state.state == ("held" if stops else "running")
    run.effect = "none"
    clock = run.state.cycle_s
    run.hours(0.1)
    assert (run.state.cycle_s == clock) is stops, "a stopped clock does not go on by itself"
    run.scan("restart")
    run.hours(7.0)
    assert run.state.state == "running"


@pytest.mark.parametrize("kind", KINDS)
def test_a_phase_asks_for_heat_and_fog_only_where_its_kind_may(
    make_run: MakeRun, air: Climate, product: Product, kind: PhaseKind
) -> None:
    run = make_run(air, product, phase_of(kind, "continue"))
    run.scan("start")
    run.scan()
    wanted = KINDS[kind]
    assert (run.targets.heat, run.targets.fog, run.targets.empty) == (wanted.heats, wanted.fogs, wanted.empty)
    assert run.targets.fan_pct > 0.0


def test_a_parked_chamber_has_air_by_turns(make_run: MakeRun, air: Climate, product: Product) -> None:
    """10 min of air, 20 min of rest; while it rests nothing is asked for."""
    run = make_run(air, product, PARK, dt_s=60.0)
    run.scan("start")
    turns = []
    for _ in range(60):
        run.scan()
        turns.append(run.targets.fan_pct > 0.0)
        assert run.targets.fog is run.targets.vent is turns[-1]
    assert turns[:9] == [True] * 9
    assert sum(turns) == pytest.approx(20, abs=2)
    assert turns[:30] == turns[30:]


@pytest.mark.parametrize(
    "changes",
    [{"temperature_degC": 41.0}, {"temperature_degC": 4.0}, {"temperature_degC": float("nan")},
     {"dew_point_degC": 29.6}, {"surface_ok": False}],
)  # fmt: skip
def test_a_fan_does_not_rest_while_the_air_is_out_of_the_band_or_a_surface_near_to_the_dew_point(
    make_run: MakeRun, air: Climate, product: Product, changes: dict[str, Any]
) -> None:
    run = make_run(air, product, PARK, dt_s=60.0)
    run.scan("start")
    for _ in range(15):
        run.scan()
    assert run.targets.fan_pct == 0.0
    run.air = replace(air, **changes)
    run.scan()
    assert run.targets.fan_pct > 0.0
    run.air = air
    on = 0
    for _ in range(12):
        run.scan()
        on += run.targets.fan_pct > 0.0
    assert on == 9, "one more turn of 10 min, then rest again: no chatter"


def test_a_stopped_clock_keeps_the_air_moving(make_run: MakeRun, air: Climate, product: Product) -> None:
    run = make_run(air, product, PARK, dt_s=60.0)
    run.scan("start")
    for _ in range(15):
        run.scan()
    run.scan("hold")
    run.scan()
    assert run.state.state == "held"
    assert run.targets.fan_pct > 0.0


def test_a_dry_out_vents_down_to_its_humidity_and_is_over_there(
    make_run: MakeRun, air: Climate, product: Product
) -> None:
    run = make_run(air, product, DRY, WAIT)
    run.scan("start")
    run.scan()
    narrowed = constraints.narrow(constraints.bind(constraints.ConstraintsConfig(), 60.0), run.targets, air, product)
    assert narrowed.dew_hi_degC == pytest.approx(21.39, abs=0.01)
    assert constraints.DRYING in narrowed.why
    assert run.state.phase == 0
    run.air = replace(air, rh_pct=59.9)
    run.scan()
    assert run.state.phase == 1


@pytest.mark.outside("recomputed: Magnus' formula, WMO-No. 8, annex 4.B: 17.62 and 243.12 degC, 60 % at 30 degC")
def test_the_dew_point_of_60_percent_at_30_degC() -> None:
    """Goal: the figure that the test before this one expects. Method: inverse of the formula, by hand."""
    x = log(0.6) + 17.62 * 30.0 / (243.12 + 30.0)
    assert 243.12 * x / (17.62 - x) == pytest.approx(21.39, abs=0.02)


def test_no_product_no_alarm_of_product(make_run: MakeRun, air: Climate, product: Product) -> None:
    dry = replace(air, rh_pct=30.0, dew_margin_K=-1.0)
    dusty = replace(product, drying_kg_per_m2h=2.0)
    means = alarm_causes.Means(5.0, 3600.0, 0.0, 0.0, False)
    found = {}
    for phase in (PARK, WAIT):
        run = make_run(dry, dusty, phase)
        run.scan("start")
        run.scan()
        asked = (AlarmsConfig(), means, dry, run.targets, dusty, run.state)
        found[phase.kind] = alarm_causes.any_beyond(*asked)
        assert found[phase.kind] is any(excess >= 0.0 for excess in alarm_causes.excesses(*asked))
    assert found == {"park": True, "standby": False}


def test_nothing_of_the_product_limits_the_heat_of_an_empty_chamber(
    make_run: MakeRun, air: Climate, product: Product
) -> None:
    hot = replace(product, core_degC_max=60.0)
    plan = constraints.bind(constraints.ConstraintsConfig(), 60.0)
    for phase, heat_kW in ((replace(DRY, kind="rest", rh_vent_above_pct=0.0), 0.0), (DRY, 60.0)):
        run = make_run(air, hot, phase)
        run.scan("start")
        run.scan()
        assert constraints.narrow(plan, run.targets, air, hot).heat_kW_max == heat_kW


@pytest.mark.parametrize(
    ("phases", "field", "limit"),
    [
        ((replace(DRY, rh_vent_above_pct=0.0),), "phases[0].rh_vent_above_pct", "10 to"),
        ((replace(DRY, rh_vent_above_pct=0.6),), "phases[0].rh_vent_above_pct", "at least 10 %"),
        ((replace(DRY, rh_vent_above_pct=99.5),), "phases[0].rh_vent_above_pct", "at most 99 %"),
        ((replace(DRY, rh_fog_below_pct=50.0),), "phases[0].rh_fog_below_pct", "0 in a dry-out"),
        ((replace(WAIT, rh_fog_below_pct=50.0),), "phases[0].rh_fog_below_pct", "0 in a standby"),
        ((replace(PARK, rh_vent_above_pct=70.0),), "phases[0].rh_vent_above_pct", "only in a dry-out or a standby"),
        ((replace(DRY, fan_off_s=600.0),), "phases[0].fan_off_s", "only in a park or a standby"),
        ((replace(DRY, end=End(equivalent_age_h=3.0)),), "phases[0].end", "none in a dry-out"),
        ((DRY, PARK), "phases[1].kind", "dry-out or standby after dry-out"),
        ((replace(PARK, rate_K_per_h=1.0),), "phases[0].rate_K_per_h", "only in a ramp"),
        ((replace(DRY, end=End(empty=True)),), "phases[0].end.empty", "only in a park"),
        ((replace(PARK, end=End(empty=True, by_operator=True)),), "phases[0].end.by_operator", "alone"),
    ],
)
def test_what_does_not_fit_an_empty_or_parked_chamber_is_refused(
    phases: tuple[Phase, ...], field: str, limit: str
) -> None:
    found = [one for one in problems(Recipe(name="trial", phases=phases), LIMITS) if one.field == field]
    assert found
    assert limit in found[0].limit
    assert found[0].remedy


def test_a_weekend_is_a_sound_recipe() -> None:
    assert problems(Recipe(name="weekend", phases=(PARK, DRY, WAIT)), LIMITS) == ()
    until_out = replace(PARK, end=End(empty=True))
    assert problems(Recipe(name="weekend", phases=(until_out, DRY, WAIT)), LIMITS) == ()


@pytest.mark.parametrize(
    ("outage_s", "outage"),
    [(-5.1, "clock"), (-5.0, "short"), (599.9, "short"), (600.0, "middle"), (3599.9, "middle"), (3600.0, "long")],
)
def test_an_outage_is_classed_by_its_length(outage_s: float, outage: str) -> None:
    assert classed(outage_s) == outage


@pytest.mark.parametrize("on_outage", ["hold", "resume"])
@pytest.mark.parametrize("kind", KINDS)
def test_a_long_outage_ends_the_phase_of_a_full_chamber_and_never_that_of_an_empty_one(
    kind: PhaseKind, on_outage: OnOutage
) -> None:
    for outage in ("long", "clock"):
        ordered = ordered_after(outage, on_outage, kind)
        assert ordered == (ordered_after("middle", on_outage, kind) if KINDS[kind].empty else ("abort",))
        assert (outage_words(outage, on_outage, kind) == "aborts") is not KINDS[kind].empty
