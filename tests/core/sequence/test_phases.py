"""A recipe bound to a chamber: units of the scan, where a moving setpoint begins, what is asked of the loops."""

from __future__ import annotations

from dataclasses import replace
from math import nan
from typing import Any

import pytest

from controller.core.orders.commands import CommandState
from controller.core.sequence import phases
from controller.core.sequence.phases import PhasePlan, SequenceConfig, SequencePlan, SequenceState
from controller.core.sequence.recipe import ChamberLimits, End, Phase, Recipe
from controller.core.setpoints import Targets

REST = Phase(kind="rest", temperature_degC=20.0, rh_fog_below_pct=95.0, end=End(time_h=1.0))
RAMP = Phase(kind="ramp", floor_degC=30.0, ceiling_degC=36.0, rate_K_per_h=1.8, rh_fog_below_pct=95.0,
             ramp_rh_floor_pct=92.0)
HOLD = Phase(kind="hold", floor_degC=31.0, ceiling_degC=37.0, rh_fog_below_pct=95.0, rh_accept_pct=93.0,
             end=End(equivalent_age_h=20.0))
COOL = Phase(kind="cooldown", temperature_degC=26.0, rate_K_per_h=3.6)
VENT = Phase(kind="vent", temperature_degC=20.0, end=End(time_h=0.5))


def bound(*given: Phase, full: float = 12.0, limits: ChamberLimits | None = None, **config: Any) -> SequencePlan:
    return phases.bind(
        SequenceConfig(**config), Recipe(name="trial", phases=given), limits or ChamberLimits(), full
    )


def test_a_plan_has_its_times_in_seconds_and_rates_per_second() -> None:
    plan = bound(REST, stop_s=120.0, restart_K_per_h=1.8, restart_h_max=2.0, rate_filter_s=60.0, stale_after_s=9.0)
    assert (plan.stop_s, plan.restart_s_max, plan.rate_filter_s, plan.stale_after_s) == (120.0, 7200.0, 60.0, 9.0)
    assert plan.restart_K_per_s == pytest.approx(0.0005)
    assert plan.recipe.name == "trial"
    assert plan.stop_fan_pct == 75.0


def test_a_restart_is_never_faster_than_the_chamber_may_warm_up() -> None:
    plan = bound(REST, restart_K_per_h=3.6, limits=replace(ChamberLimits(), ramp_K_per_h_max=1.8))
    assert plan.restart_K_per_s == pytest.approx(0.0005)


def test_at_rest_nothing_is_asked_for() -> None:
    rest = bound(replace(HOLD, supply_over_return_K_max=4.0)).rest
    assert rest == Targets(31.0, 37.0, 0.0, 0.0, 0.0, 4.0, 0.0, heat=False, fog=False, vent=False)


def test_the_fan_gives_what_the_recipe_says_or_the_chamber_and_at_most_all() -> None:
    made = bound(replace(REST, fan_kg_per_s=4.0), replace(REST, fan_kg_per_s=16.0), REST, full=16.0, fan_kg_per_s=8.0)
    assert [phase.targets.fan_pct for phase in made.phases] == [25.0, 100.0, 50.0]
    assert bound(REST, full=4.0).phases[0].targets.fan_pct == 100.0
    config = SequenceConfig()
    assert phases.bind(config, Recipe(name="t", phases=(REST,)), ChamberLimits()).stop_fan_pct == 75.0  # of 12 kg/s


def test_each_kind_of_phase_moves_waits_and_heats_in_its_way() -> None:
    made = bound(REST, RAMP, HOLD, COOL, VENT).phases
    assert [phase.moves for phase in made] == [0, 1, 0, -1, 0]
    assert [phase.waits for phase in made] == [False, True, True, False, False]
    assert [phase.single for phase in made] == [True, False, False, True, True]
    assert [phase.rate_K_per_h for phase in made] == [0.0, 1.8, 0.0, 3.6, 0.0]
    assert [phase.rate_K_per_s for phase in made] == pytest.approx([0.0, 0.0005, 0.0, 0.001, 0.0])
    assert [phase.targets.heat for phase in made] == [True, True, True, False, False]
    assert [phase.targets.fog for phase in made] == [True, True, True, False, False]
    assert all(phase.targets.vent for phase in made)
    assert [phase.name for phase in made] == [
        "phase 1 of 5, rest", "phase 2 of 5, ramp", "phase 3 of 5, hold", "phase 4 of 5, cooldown", "phase 5 of 5, vent"
    ]
    assert [phase.kind for phase in made] == ["rest", "ramp", "hold", "cooldown", "vent"]


def test_any_humidity_at_all_asks_for_fog() -> None:
    assert [one(replace(REST, rh_fog_below_pct=pct)).targets.fog for pct in (0.0, 0.5, 95.0)] == [False, True, True]


def test_a_phase_in_the_units_of_the_scan() -> None:
    given = replace(RAMP, holdback_K=1.5, wait_alarm_h=2.0, door_keep_s=30.0, door_blind_s=40.0, in_band_K=0.5,
                    rh_accept_pct=90.0, supply_over_return_K_max=5.0, heat_against_vent=True)
    ramp, = bound(given).phases
    assert (ramp.floor_degC, ramp.ceiling_degC, ramp.rate_K_per_h) == (30.0, 36.0, 1.8)
    assert ramp.rate_K_per_s == pytest.approx(0.0005)
    assert (ramp.holdback_K, ramp.wait_alarm_s, ramp.door_keep_s, ramp.door_blind_s) == (1.5, 7200.0, 30.0, 40.0)
    assert ramp.ramp_rh_floor_pct == 92.0
    assert ramp.targets == Targets(30.0, 36.0, 0.0, 95.0, 90.0, 5.0, 75.0, True, True, True, False)
    assert bound(replace(given, heat_against_vent=False)).phases[0].targets.sags


def test_a_humidity_floor_is_of_a_ramp_only() -> None:
    assert bound(replace(HOLD, ramp_rh_floor_pct=92.0)).phases[0].ramp_rh_floor_pct == 0.0


def test_a_ramp_has_arrived_in_the_band_of_the_hold_after_it_and_else_in_its_own() -> None:
    wide = replace(HOLD, in_band_K=0.5)
    ramp, _hold = bound(replace(RAMP, in_band_K=0.1), wide).phases
    assert (ramp.band_floor_degC, ramp.band_ceiling_degC) == (30.5, 37.5)
    for others in ((), (VENT, wide), (replace(RAMP, floor_degC=33.0), wide)):
        ramp = bound(replace(RAMP, in_band_K=0.1), *others).phases[0]
        assert (ramp.band_floor_degC, ramp.band_ceiling_degC) == (29.9, 36.1)
    hold, _other = bound(wide, replace(HOLD, floor_degC=33.0)).phases
    assert (hold.band_floor_degC, hold.band_ceiling_degC) == (30.5, 37.5)


@pytest.mark.parametrize(
    ("on_door", "hold", "stand"), [("hold", True, False), ("standing", False, True), ("continue", False, False)]
)
def test_what_an_open_door_does(on_door: Any, hold: bool, stand: bool) -> None:
    phase, = bound(replace(HOLD, on_door=on_door, end=End(by_operator=True))).phases
    assert (phase.on_door_hold, phase.on_door_stand, phase.by_operator) == (hold, stand, True)
    assert not bound(HOLD).phases[0].by_operator


def test_at_first_it_is_idle_at_the_setpoint_of_rest() -> None:
    state = phases.initial(bound(HOLD))
    assert state == SequenceState(
        "idle", -1, 0.0, 0.0, 0.0, 0.0, 31.0, 37.0, 0.0, 0.0, False, None, None, CommandState(), (), (), False, (), ()
    )


def one(phase: Phase) -> PhasePlan:
    return bound(phase).phases[0]


SINGLE = replace(RAMP, floor_degC=None, ceiling_degC=None, temperature_degC=30.0)


@pytest.mark.parametrize(
    ("phase", "mean", "begins"),
    [
        (RAMP, 23.0, (23.0, 36.0)), (RAMP, 33.0, (30.0, 36.0)), (RAMP, nan, (22.0, 36.0)),
        (SINGLE, 23.0, (23.0, 23.0)), (SINGLE, 33.0, (30.0, 30.0)),
        (COOL, 33.0, (33.0, 33.0)), (COOL, 23.0, (26.0, 26.0)),
        (replace(COOL, temperature_degC=None, floor_degC=20.0, ceiling_degC=28.0), 33.0, (20.0, 33.0)),
        (replace(COOL, temperature_degC=None, floor_degC=20.0, ceiling_degC=28.0), 25.0, (20.0, 28.0)),
        (HOLD, 23.0, (31.0, 37.0)), (HOLD, nan, (31.0, 37.0)),
    ],
)
def test_a_moving_setpoint_begins_at_the_mean_and_never_beyond_its_end(
    phase: Phase, mean: float, begins: tuple[float, float]
) -> None:
    """Without a good reading from the last floor, 22 degC here."""
    assert phases.begin(one(phase), mean, 22.0) == begins


def test_what_is_asked_on_the_way_is_what_the_phase_asks_at_another_setpoint() -> None:
    phase = one(replace(RAMP, rh_accept_pct=90.0, supply_over_return_K_max=5.0, heat_against_vent=True))
    arrived = phase.targets
    assert phases.targets_at(phase, 30.0, 36.0, 0.0) is arrived
    for floor, ceiling, rate in ((29.0, 36.0, 0.0), (30.0, 35.0, 0.0), (30.0, 36.0, 0.5), (25.0, 33.0, 1.8)):
        assert phases.targets_at(phase, floor, ceiling, rate) == replace(
            arrived, floor_degC=floor, ceiling_degC=ceiling, rate_K_per_h=rate
        )


def test_while_it_stops_fan_and_vent_go_on_and_nothing_else() -> None:
    plan = bound(replace(HOLD, supply_over_return_K_max=4.0), fan_kg_per_s=6.0)
    state = replace(phases.initial(plan), floor_degC=27.0, ceiling_degC=29.0)
    assert phases.stopping_targets(plan, state) == Targets(
        27.0, 29.0, 0.0, 0.0, 0.0, 4.0, 50.0, heat=False, fog=False, vent=True
    )
