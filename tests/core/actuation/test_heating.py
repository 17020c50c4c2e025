"""Heat to outputs by kind: stages that wear alike, a burner that pulses at minimum fire, steam behind its valve."""

from __future__ import annotations

from itertools import pairwise

import pytest

from controller.core.actuation import heating
from controller.core.actuation.heating import HeatingState
from controller.core.equipment.heaters import ElectricConfig, GasConfig, HeatConfig, StageConfig, SteamConfig

FOUR = ElectricConfig(
    kind="electric",
    stage=(
        StageConfig(tag="A", kW=15.0, cycle_s=60.0),
        *(StageConfig(tag=tag, kW=15.0, on_s_min=120.0, off_s_min=120.0) for tag in "BCD"),
    ),
)
BURNER = GasConfig(kind="gas", fire="TCV-103", capacity_kW=60.0, fire_pct_min=30.0)


def run(
    config, demand_kW: list[float], ready: bool = True, state: HeatingState | None = None
) -> tuple[list[HeatingState], HeatingState]:
    plan = heating.plan(config)
    state = heating.initial(plan) if state is None else state
    seen = []
    for kW in demand_kW:
        state = heating.step(plan, state, kW, ready, config.capacity_kW, 1.0)
        seen.append(state)
    return seen, state


def given_kW(seen: list[HeatingState]) -> float:
    """Mean of what four stages of 15 kW gave."""
    return sum(15.0 * stage.on for state in seen for stage in state.stages) / len(seen)


@pytest.mark.parametrize("kW", [1.0, 7.5, 14.0, 22.0, 31.0, 47.0, 60.0])
def test_stages_give_the_demand_in_the_mean_with_few_switchings(kW):
    """Whole stages stand, the pulsed one fills the gap: contactors switch once, the relay once a cycle at most."""
    _, state = run(FOUR, [kW] * 600)
    seen, after = run(FOUR, [kW] * 3600, state=state)
    assert given_kW(seen) == pytest.approx(kW, abs=0.3)
    assert [stage.strokes for stage in after.stages[1:]] == [stage.strokes for stage in state.stages[1:]]
    assert after.stages[0].strokes - state.stages[0].strokes <= 61


def test_noise_about_a_step_does_not_wear_contactors():
    """Two stages' worth, plus and minus 2 kW every 7 s, for 4 h."""
    demand = [30.0 + (2.0 if second // 7 % 2 else -2.0) for second in range(4 * 3600)]
    _, state = run(FOUR, demand)
    assert sum(stage.strokes for stage in state.stages[1:]) <= 4


def test_whole_stages_wear_alike():
    """Up and down 30 times: no contactor switches more than once more often than another."""
    demand = ([40.0] * 400 + [2.0] * 400) * 30
    _, state = run(FOUR, demand)
    strokes = [stage.strokes for stage in state.stages[1:]]
    assert min(strokes) >= 10
    assert max(strokes) - min(strokes) <= 1


def test_whole_stages_keep_their_shortest_times():
    demand = [60.0 if second // 30 % 2 else 1.0 for second in range(3600)]
    seen, _ = run(FOUR, demand)
    for i in (1, 2, 3):
        on = [state.stages[i].on for state in seen]
        edges = [n for n in range(1, len(on)) if on[n] != on[n - 1]]
        assert all(b - a >= 120 for a, b in pairwise(edges))


def test_a_lost_contact_cuts_every_stage_at_once():
    _, state = run(FOUR, [50.0] * 300)
    assert any(stage.on for stage in state.stages)
    seen, _ = run(FOUR, [50.0], ready=False, state=state)
    assert not seen[0].on
    assert not any(stage.on for stage in seen[0].stages)


def test_below_minimum_fire_the_burner_pulses_there_and_keeps_its_times():
    """6 kW of a burner that cannot burn below 18: a third of the time, at 30 %."""
    seen, state = run(BURNER, [6.0] * 4 * 3600)
    on = [heat.on for heat in seen]
    assert sum(on) / len(on) == pytest.approx(6.0 / 18.0, abs=0.02)
    assert max(heat.position_pct for heat in seen) == 30.0
    edges = [n for n in range(1, len(on)) if on[n] != on[n - 1]]
    assert all(b - a >= 180 for a, b in pairwise(edges))
    assert state.stages[0].strokes <= 4 * 4 + 1


def test_above_minimum_fire_the_burner_burns_on_and_the_fire_follows():
    seen, state = run(BURNER, [18.5] * 1200 + [45.0] * 1200)
    assert state.stages[0].strokes == 1
    assert seen[1100].position_pct == pytest.approx(30.8, abs=1.0)
    assert state.position_pct == pytest.approx(75.0, abs=1.0)
    moves = [abs(b.position_pct - a.position_pct) for a, b in pairwise(seen)]
    assert max(moves) <= 100.0 / 60.0 + 1e-9


def test_the_burner_goes_out_at_once_without_its_contacts():
    _, state = run(BURNER, [40.0] * 600)
    seen, _ = run(BURNER, [40.0] * 100, ready=False, state=state)
    assert not seen[0].on
    assert seen[-1].position_pct == 0.0


def test_steam_goes_through_a_valve_as_hot_water_does():
    steam = SteamConfig(kind="steam", stroke_s=90.0, authority=0.5)
    same = HeatConfig(capacity_kW=steam.capacity_kW)
    demand = [20.0] * 300 + [0.0] * 300
    assert run(steam, demand) == run(same, demand)


@pytest.mark.parametrize("config", [FOUR, BURNER, SteamConfig(kind="steam"), HeatConfig()])
def test_nothing_changes_while_nothing_is_asked(config):
    plan = heating.plan(config)
    state = heating.initial(plan)
    assert heating.step(plan, state, 0.0, True, config.capacity_kW, 1.0) is state


@pytest.mark.parametrize("config", [FOUR, BURNER])
def test_what_protection_took_starts_anew(config):
    plan = heating.plan(config)
    _, state = run(config, [50.0] * 600)
    taken = heating.corrected(plan, state, 0.0, True, 1.0)
    assert not taken.on
    assert taken.position_pct == 0.0
    assert not any(stage.on for stage in taken.stages)
    assert heating.corrected(plan, state, state.position_pct, False, 1.0) == state


def test_every_kind_says_the_same_few_things():
    assert [c.kg_per_kWh > 0.0 for c in (HeatConfig(), FOUR, BURNER, SteamConfig(kind="steam"))] == [False] * 3 + [True]
    assert (FOUR.capacity_kW, FOUR.drive, FOUR.kW_min) == (60.0, "", 0.5)
    assert (BURNER.drive, BURNER.kW_min, BURNER.hold_s) == ("TCV-103", 0.0, 0.0)
    assert HeatConfig().capacity_at_kW(50.0) == pytest.approx(30.0)
    assert [c.capacity_at_kW(50.0) for c in (FOUR, BURNER)] == [60.0, 60.0]


@pytest.mark.parametrize("config", [FOUR, BURNER])
def test_what_pulses_counts_as_giving_its_mean_while_it_is_ready(config: HeatConfig) -> None:
    plan = heating.plan(config)
    state = heating.initial(plan)
    assert heating.given_kW(plan, state, 20.0, True, 60.0) == 20.0
    assert heating.given_kW(plan, state, 70.0, True, 60.0) == 60.0
    assert heating.given_kW(plan, state, 20.0, False, 60.0) == 0.0
