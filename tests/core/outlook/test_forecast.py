"""The forecast: the recipe's own sequence and allocation against the reduced chamber."""

from __future__ import annotations

from dataclasses import replace
from math import isnan

import pytest

from controller.config.chamber import ChamberFile
from controller.config.find import find
from controller.config.loader import load
from controller.config.outlook import room
from controller.core.outlook import reduced
from controller.core.outlook.diary import DRY_LIMIT
from controller.core.outlook.forecast import Case, Room, forecast
from controller.core.product.mix import Mix
from controller.core.sequence.recipe import End, Phase, Recipe

COOL = ((8.0, 80.0),)


@pytest.fixture(scope="module")
def chamber() -> ChamberFile:
    return load(find("chamber", "demo-north"), ChamberFile)


@pytest.fixture(scope="module")
def demo(chamber) -> Room:
    return room(chamber)


@pytest.fixture(scope="module")
def gentle() -> Recipe:
    return load(find("recipe", "gentle"), Recipe)


@pytest.fixture(scope="module")
def mix() -> Mix:
    return load(find("mix", "demo-60"), Mix)


def bound(chamber: ChamberFile, mix: Mix, **changes) -> reduced.ReducedPlan:
    config = replace(chamber.forecast, **changes)
    return reduced.bind(
        config, chamber.climate, chamber.product, chamber.temperature, chamber.actuation, mix,
        load_t=120.0, outdoor=COOL,
    )  # fmt: skip


def test_the_same_case_gives_the_same_forecast(demo, gentle, mix):
    case = Case(load_t=120.0, mix_degC=20.0, outdoor=COOL)
    assert forecast(demo, gentle, mix, case) == forecast(demo, gentle, mix, case)


def test_half_the_step_moves_the_ready_time_by_minutes_only(demo, gentle, mix, monkeypatch):
    """Goal: the step is small enough. Method: the coarse step of the variants against the fine one."""
    case = Case(load_t=120.0, mix_degC=20.0, outdoor=COOL)
    fine = forecast(demo, gentle, mix, case, interval=False)
    monkeypatch.setattr("controller.core.outlook.forecast.STEP_S", 120.0)
    coarse = forecast(demo, gentle, mix, case, interval=False)
    assert coarse.ready_h == pytest.approx(fine.ready_h, abs=0.1)
    assert coarse.heat_kWh == pytest.approx(fine.heat_kWh, abs=5.0)


def test_warmer_mix_is_ready_sooner_and_the_interval_contains_the_time(demo, gentle, mix):
    cold = forecast(demo, gentle, mix, Case(load_t=120.0, mix_degC=15.0, outdoor=COOL))
    warm = forecast(demo, gentle, mix, Case(load_t=120.0, mix_degC=25.0, outdoor=COOL))
    assert warm.ready_h < cold.ready_h - 5.0
    for one in (cold, warm):
        assert one.ready_low_h < one.ready_h < one.ready_high_h
        assert 0.5 < one.ready_high_h - one.ready_low_h < 12.0


def test_a_forecast_stays_below_the_dew_limit_it_knows(demo, gentle, mix):
    """Fog and vent are the controller's own: in the hold the dew point may pass the limit by a controller's error."""
    ahead = forecast(demo, gentle, mix, Case(load_t=120.0, mix_degC=20.0, outdoor=COOL), interval=False)
    hold = [row for row in ahead.rows if row.time_h > ahead.hold_start_h + 1.0]
    assert len(hold) > 20
    assert all(row.dew_point_degC < row.surface_degC for row in hold)
    assert ahead.finished
    assert ahead.end_h == pytest.approx(24.0, abs=0.1)


def test_a_ramp_that_asks_for_more_than_dry_surfaces_allow_waits_and_says_for_what(demo, mix):
    phases = (
        Phase(kind="ramp", floor_degC=30.0, ceiling_degC=36.0, rate_K_per_h=3.0, ramp_rh_floor_pct=98.5,
              rh_fog_below_pct=98.5, end=End(in_band=True)),
        Phase(kind="hold", floor_degC=30.0, ceiling_degC=36.0, end=End(time_h=1.0)),
    )  # fmt: skip
    ahead = forecast(demo, Recipe(name="hasty", phases=phases), mix, Case(load_t=120.0, mix_degC=20.0, outdoor=COOL))
    waits = dict(ahead.phases[0].waits)
    assert sum(hours for why, hours in waits.items() if why.startswith(DRY_LIMIT)) > 3.0


def test_a_small_heater_is_seen_to_fall_short(demo, mix):
    heat = replace(demo.actuators.heat, capacity_kW=6.0)
    weak = replace(demo, actuators=replace(demo.actuators, heat=heat))
    phases = (
        Phase(kind="ramp", temperature_degC=32.0, rate_K_per_h=2.0, supply_over_return_K_max=8.0,
              heat_against_vent=True, end=End(in_band=True)),
        Phase(kind="hold", temperature_degC=32.0, end=End(time_h=1.0)),
    )  # fmt: skip
    case = Case(load_t=120.0, mix_degC=15.0, outdoor=COOL)
    recipe = Recipe(name="warm", phases=phases)
    strong, little = (forecast(one, recipe, mix, case, interval=False) for one in (demo, weak))
    assert little.hold_start_h > strong.hold_start_h + 1.0
    assert any(why.startswith("heat limited: what the heater") for why, _ in little.phases[0].short)


def test_a_recipe_that_ends_too_soon_has_no_ready_time(demo, mix):
    phases = (Phase(kind="hold", floor_degC=18.0, ceiling_degC=30.0, end=End(time_h=2.0)),)
    ahead = forecast(demo, Recipe(name="short", phases=phases), mix, Case(load_t=120.0, mix_degC=20.0, outdoor=COOL))
    assert isnan(ahead.ready_h)
    assert ahead.finished


def test_sealed_without_losses_the_reduced_chamber_keeps_its_heat(chamber, mix):
    """Goal: no heat from nowhere. Method: no envelope, floor, leak or hydration; warm boards and cold product settle
    at the mean that their heat capacities give (moisture kept out by dry product)."""
    plan = bound(chamber, replace(mix, heat_J_per_kg=0.0), envelope_m2=1e-9, floor_m2=0.0, leak_kg_per_s=0.0)
    plan = replace(plan, product=replace(plan.product, wetted_fraction=1e-12))
    state = replace(reduced.initial(plan, 20.0), board_degC=30.0, low_degC=30.0, humidity_ratio=0.001)
    for _ in range(60 * 48):
        state = reduced.step(plan, state, 0.0, 0.0, 0.0, 0.0, 9.0, 60.0)
    product_J = plan.skin_J + plan.core_J
    settled = (30.0 * plan.boards_J + 20.0 * product_J) / (plan.boards_J + product_J)
    assert state.board_degC == pytest.approx(state.core_degC, abs=0.01)
    assert state.core_degC == pytest.approx(settled, abs=0.1)


def test_constant_heat_ends_in_the_balance_of_its_losses(chamber, mix):
    """Goal: losses are right. Method: dry and inert, 4 kW against envelope and leak; T = T_out + Q / (U A + m cp)."""
    plan = bound(chamber, replace(mix, heat_J_per_kg=0.0), floor_m2=0.0)
    plan = replace(plan, product=replace(plan.product, wetted_fraction=1e-12))
    expected = 8.0 + 4000.0 / (388.0 * 0.11 + 0.03 * reduced.AIR_J)
    state = reduced.initial(plan, expected - 0.5)
    state = replace(state, humidity_ratio=0.004)
    for _ in range(24 * 60 * 120):
        state = reduced.step(plan, state, 4.0, 0.0, 0.0, 0.0, 9.0, 60.0)
    assert state.air_degC == pytest.approx(expected, abs=0.15)


def test_outdoor_air_is_read_between_the_hours_and_begins_again(chamber, mix):
    plan = reduced.bind(
        chamber.forecast, chamber.climate, chamber.product, chamber.temperature, chamber.actuation, mix,
        load_t=120.0, outdoor=((0.0, 80.0), (10.0, 80.0)),
    )  # fmt: skip
    assert plan.outdoors(1800.0)[0] == pytest.approx(5.0)
    assert plan.outdoors(5400.0)[0] == pytest.approx(5.0)
    assert plan.outdoors(7200.0)[0] == pytest.approx(0.0)


def test_an_empty_chamber_is_forecast_without_product_and_counts_for_no_figure_of_it(demo, gentle, mix):
    """The same cycle with and without a dry-out behind it: it dries fast, and age, drying and heat of product stay."""
    case = Case(load_t=120.0, mix_degC=20.0, outdoor=COOL)
    dry_out = Phase(
        kind="dry-out", floor_degC=25.0, ceiling_degC=40.0, rh_vent_above_pct=60.0, end=End(in_band=True, at_most_h=9.0)
    )
    alone = forecast(demo, gentle, mix, case, interval=False)
    both = forecast(demo, replace(gentle, phases=(*gentle.phases, dry_out)), mix, case, interval=False)
    assert both.ready_h == alone.ready_h
    assert both.product_max_degC == pytest.approx(alone.product_max_degC, abs=0.01)
    assert both.drying_kg_per_m2h == pytest.approx(alone.drying_kg_per_m2h, rel=0.01)
    last = both.phases[-1]
    assert last.end_h - last.start_h < 2.0, "120 t of warm product would keep it damp for days"
    assert last.rh_min_pct < 61.0
    assert both.finished


def test_a_cycle_longer_than_the_look_ahead_is_not_finished(demo, gentle, mix):
    ahead = forecast(demo, gentle, mix, Case(load_t=120.0, mix_degC=20.0, outdoor=COOL), hours_max=2.0, interval=False)
    assert not ahead.finished
    assert isnan(ahead.ready_h)


def test_door_frames_that_nothing_heats_are_watched_too(chamber, mix):
    """Colder outside makes them the coldest surface; heated ones never are."""
    seen = {}
    for heated in (True, False):
        heating = chamber.actuation.frame_heating if heated else None
        plan = reduced.bind(
            chamber.forecast, chamber.climate, chamber.product, chamber.temperature,
            replace(chamber.actuation, frame_heating=heating), mix, load_t=120.0, outdoor=((-20.0, 80.0),),
        )  # fmt: skip
        warm = replace(reduced.initial(plan, 30.0, 0.0), air_degC=30.0)
        seen[heated] = reduced.observe(plan, warm, 9.0, 4.0)
    assert seen[True].surface != "door frame"
    assert seen[False].surface == "door frame"
    assert seen[False].surface_degC < seen[True].surface_degC
    plan = reduced.bind(
        chamber.forecast, chamber.climate, chamber.product, chamber.temperature,
        replace(chamber.actuation, frame_heating=None), mix, load_t=120.0, outdoor=((38.0, 50.0),),
    )  # fmt: skip
    hot = replace(reduced.initial(plan, 20.0, 0.0), air_degC=30.0)
    assert reduced.observe(plan, hot, 9.0, 4.0).surface == "coldest board"
