"""From demands to outputs: run-up, characteristics, slew, readiness, pulses, what protection took away."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from itertools import pairwise
from math import nan

import pytest

from controller.core.actuation import actuation
from controller.core.actuation.actuation import (
    ActuationConfig,
    ActuationState,
    BankConfig,
    FogConfig,
    FrameHeatingConfig,
    HeatConfig,
)
from controller.core.climate.climate import Climate
from controller.core.equipment.heaters import ElectricConfig, StageConfig
from controller.core.frames import Frame, Outputs
from controller.core.loops.allocation import Demands
from controller.core.points import Point
from controller.errors import ConfigError

AI = ("TT-103", "TT-106A", "TT-106B")
DI = ("FS-101", "YS-103", "HS-113", "PS-102", "HS-112")
AO = ("SC-101", "TCV-103", "ZC-120")
DO = ("YC-101", "YC-103", "XV-102A", "XV-102B", "YC-106", "YC-192")
POINTS = tuple(
    Point(tag=tag, kind=kind, text=tag, device="panel", address=0, signal="raw")  # type: ignore[arg-type]
    for kind, tags in {"AI": AI, "DI": DI, "AO": AO, "DO": DO}.items()
    for tag in tags
)
PLAN = actuation.bind(ActuationConfig(), POINTS)
CLIMATE = Climate(
    30.0, 29.8, 30.2, 0.4, 29.0, 0.0257, 94.0, 29.6, "board bay 1 level 1", 29.45, 0.6, nan, 30.0, 20.0, 8.0, 0.005,
    9.0, 4.0, nan, nan, True, True, True,
)  # fmt: skip
NOTHING = Demands(0.0, 0.0, 0.0, 0.0, 0.0, ())
RUN = Demands(0.0, 0.0, 0.0, 75.0, 0.0, ())


def frame(water: float = 70.0, frames: tuple[float, float] = (31.0, 31.0), **contacts: bool) -> Frame:
    closed = tuple(contacts.get(tag.replace("-", "_"), True) for tag in DI)
    return Frame((water, *frames), (0, 0, 0), ("", "", ""), closed, 0)


def run(
    demands: Demands, scans: int, state: ActuationState | None = None, seen: Frame | None = None
) -> tuple[ActuationState, list[Outputs], actuation.Achieved]:
    state = actuation.initial(PLAN) if state is None else state
    written: list[Outputs] = []
    achieved = actuation.achieved_at_start(PLAN)
    for _ in range(scans):
        state, outputs, achieved = actuation.actuate(PLAN, state, demands, CLIMATE, seen or frame(), 1.0)
        written.append(outputs)
    return state, written, achieved


def ao(outputs: Outputs, tag: str) -> float:
    return outputs.analog[AO.index(tag)]


def do(outputs: Outputs, tag: str) -> bool:
    return outputs.discrete[DO.index(tag)]


def test_at_rest_everything_is_off_and_the_state_stays_the_same_object() -> None:
    state = actuation.initial(PLAN)
    after, outputs, _ = actuation.actuate(PLAN, state, NOTHING, CLIMATE, frame(), 1.0)
    assert after is state
    assert outputs == actuation.outputs_at_rest(PLAN)
    assert not any(outputs.analog) and not any(outputs.discrete)


def test_fan_starts_slowly_and_stops_at_once() -> None:
    state, written, _ = run(RUN, 60)
    speeds = [ao(outputs, "SC-101") for outputs in written]
    assert speeds[0] == 25.0
    assert all(b - a <= 2.0 for a, b in pairwise(speeds))
    assert speeds[-1] == 75.0
    assert all(do(outputs, "YC-101") for outputs in written)
    assert state.fan_starts == 1
    _, written, _ = run(NOTHING, 1, state)
    assert (ao(written[0], "SC-101"), do(written[0], "YC-101")) == (0.0, False)


@pytest.mark.parametrize("kW", [3.0, 12.0, 30.0, 60.0])
def test_valve_ends_where_its_characteristic_gives_the_heat(kW: float) -> None:
    _, written, achieved = run(replace(RUN, heat_kW=kW), 200)
    flow = PLAN.heating.valve.flow(0.01 * ao(written[-1], "TCV-103"))
    assert 60.0 * flow == pytest.approx(kW, abs=0.6)  # 1 % of the full flow is saved up
    assert achieved.heat_kW == pytest.approx(60.0 * flow)
    assert do(written[-1], "YC-103")


def test_colder_water_opens_the_valve_further_and_gives_less_at_most() -> None:
    demands = replace(RUN, heat_kW=20.0)
    _, warm, _ = run(demands, 200)
    _, cool, achieved = run(demands, 200, seen=frame(water=50.0))
    assert ao(cool[-1], "TCV-103") > ao(warm[-1], "TCV-103") + 5.0
    assert achieved.heat_kW_max == pytest.approx(60.0 * 20.0 / 40.0)
    _, _, achieved = run(demands, 1, seen=frame(water=nan))
    assert achieved.heat_kW_max == 60.0
    _, written, achieved = run(demands, 5, seen=frame(water=25.0))
    assert (achieved.heat_kW_max, do(written[-1], "YC-103")) == (0.0, False)


def test_valve_and_damper_never_move_faster_than_their_stroke() -> None:
    _, written, _ = run(replace(RUN, heat_kW=60.0, vent_kg_per_s=1.0), 120)
    for tag, step in (("TCV-103", 100.0 / 90.0), ("ZC-120", 100.0 / 60.0)):
        positions = [0.0] + [ao(outputs, tag) for outputs in written]
        assert max(b - a for a, b in pairwise(positions)) <= step + 1e-9
        assert positions[-1] == 100.0


def test_small_wishes_do_not_move_the_valve_and_travel_is_counted() -> None:
    state, written, _ = run(replace(RUN, heat_kW=20.0), 200)
    position = ao(written[-1], "TCV-103")
    assert state.valve_travel_pct == pytest.approx(position)
    after, written, _ = run(replace(RUN, heat_kW=20.05), 20, state)
    assert ao(written[-1], "TCV-103") == position
    assert after.valve_travel_pct == state.valve_travel_pct


def test_too_little_heat_for_the_valve_leaves_the_pump_off_with_hysteresis() -> None:
    state, written, _ = run(replace(RUN, heat_kW=1.5), 5)
    assert not do(written[-1], "YC-103")
    state, written, _ = run(replace(RUN, heat_kW=2.5), 5, state)
    assert do(written[-1], "YC-103")
    state, written, _ = run(replace(RUN, heat_kW=1.5), 5, state)
    assert do(written[-1], "YC-103")
    state, written, _ = run(replace(RUN, heat_kW=0.9), 5, state)
    assert do(written[-1], "YC-103")  # not before its shortest time
    state, written, _ = run(replace(RUN, heat_kW=0.9), 180, state)
    assert not do(written[-1], "YC-103")
    assert state.heat_starts == 1


def test_pump_runs_and_rests_for_its_shortest_time_however_the_demand_flickers() -> None:
    state, switched = actuation.initial(PLAN), []
    for scan in range(3600):
        demands = replace(RUN, heat_kW=3.0 if scan % 2 else 0.0)
        state, outputs, _ = actuation.actuate(PLAN, state, demands, CLIMATE, frame(), 1.0)
        switched.append(do(outputs, "YC-103"))
    assert state.heat_starts <= 3600 / (2 * 180)
    assert any(switched) and not all(switched)


def test_a_lost_contact_beats_the_shortest_time_of_the_pump() -> None:
    state, written, _ = run(replace(RUN, heat_kW=20.0), 5)
    assert do(written[-1], "YC-103")
    _, written, _ = run(replace(RUN, heat_kW=20.0), 1, state, frame(FS_101=False))
    assert not do(written[-1], "YC-103")


@pytest.mark.parametrize("contact", ["FS_101", "YS_103", "HS_113"])
def test_heat_waits_for_every_contact_it_needs(contact: str) -> None:
    _, written, achieved = run(replace(RUN, heat_kW=20.0), 30, seen=frame(**{contact: False}))
    assert not do(written[-1], "YC-103")
    assert ao(written[-1], "TCV-103") == 0.0
    assert achieved.heat_kW_max == 0.0


@pytest.mark.parametrize("contact", ["PS_102", "HS_112"])
def test_fog_stops_at_once_when_a_contact_it_needs_opens(contact: str) -> None:
    state, written, _ = run(replace(RUN, fog_kg_per_h=60.0), 2)
    assert do(written[-1], "XV-102A") and do(written[-1], "XV-102B")
    _, written, achieved = run(replace(RUN, fog_kg_per_h=60.0), 1, state, frame(**{contact: False}))
    assert not do(written[-1], "XV-102A") and not do(written[-1], "XV-102B")
    assert achieved.fog_kg_per_h_max == 0.0


@pytest.mark.parametrize("kg_per_h", [0.5, 4.0, 14.0, 22.0, 59.0])
def test_banks_together_give_the_fog_asked_for(kg_per_h: float) -> None:
    state, written, _ = run(replace(RUN, fog_kg_per_h=kg_per_h), 4 * 3600)
    kg = sum(15.0 * do(o, "XV-102A") + 45.0 * do(o, "XV-102B") for o in written) / 3600.0
    assert kg == pytest.approx(4.0 * kg_per_h, abs=0.06)
    if kg_per_h <= 15.0:
        assert not any(do(outputs, "XV-102B") for outputs in written)  # the small bank alone, while it can
    for bank, plan in zip(state.banks, PLAN.fogging.banks, strict=True):
        assert bank.strokes <= 4 * 3600 / plan.cycle_s + 1


def test_damper_opens_by_its_characteristic_and_stays_shut_for_next_to_nothing() -> None:
    _, written, _ = run(replace(RUN, vent_kg_per_s=0.3), 120)
    assert PLAN.damper.flow(0.01 * ao(written[-1], "ZC-120")) == pytest.approx(0.3, abs=0.01)
    _, written, _ = run(replace(RUN, vent_kg_per_s=0.01), 120)
    assert ao(written[-1], "ZC-120") == 0.0


def test_frame_heating_follows_the_coldest_frame_with_hysteresis() -> None:
    state = actuation.initial(PLAN)
    seen = []
    for coldest in (31.0, 29.4, 29.9, 30.1, nan):
        state, outputs, _ = actuation.actuate(PLAN, state, RUN, CLIMATE, frame(frames=(31.0, coldest)), 1.0)
        seen.append(do(outputs, "YC-106"))
    assert seen == [False, True, True, False, False]


def test_heat_taken_away_by_protection_is_not_available_for_a_while() -> None:
    """Goal: loops do not push against a trip. Method: hand back outputs in which protection cleared the heat."""
    demands = replace(RUN, heat_kW=20.0)
    state, written, _ = run(demands, 100)
    taken = replace(
        written[-1],
        analog=(75.0, 0.0, 0.0),
        discrete=tuple(on and tag != "YC-103" for on, tag in zip(written[-1].discrete, DO, strict=True)),
    )
    state, outputs, achieved = actuation.actuate(PLAN, state, demands, CLIMATE, frame(), 1.0, taken)
    assert (ao(outputs, "TCV-103"), do(outputs, "YC-103"), achieved.heat_kW_max) == (0.0, False, 0.0)
    waited = 1
    while achieved.heat_kW_max == 0.0:
        state, outputs, achieved = actuation.actuate(PLAN, state, demands, CLIMATE, frame(), 1.0, outputs)
        waited += 1
    assert waited == pytest.approx(actuation.BLOCKED_S, abs=2)
    assert ao(outputs, "TCV-103") < 2.0  # from where it stands, not from where it stood


def test_outputs_let_through_change_nothing() -> None:
    demands = replace(RUN, heat_kW=20.0, fog_kg_per_h=20.0, vent_kg_per_s=0.2)
    alone = told = actuation.initial(PLAN)
    last = actuation.outputs_at_rest(PLAN)
    for _ in range(300):
        alone, expected, _ = actuation.actuate(PLAN, alone, demands, CLIMATE, frame(), 1.0)
        told, last, _ = actuation.actuate(PLAN, told, demands, CLIMATE, frame(), 1.0, last)
        assert last == expected
    assert told == alone


def test_an_unchanged_scan_gives_the_same_outputs_object_whatever_lamps_do() -> None:
    """Goal: nothing is built anew while nothing moves, and lamps that alarms switch are not taken for a block."""
    state, written, _ = run(replace(RUN, vent_kg_per_s=0.2), 300)
    lit = replace(written[-1], discrete=(*written[-1].discrete[:5], True))
    after, outputs, _ = actuation.actuate(
        PLAN, state, replace(RUN, vent_kg_per_s=0.2), CLIMATE, frame(), 1.0, lit
    )
    assert (outputs is written[-1], after is state) == (True, True)


def test_state_is_plain_data() -> None:
    state, _, _ = run(replace(RUN, heat_kW=20.0, fog_kg_per_h=20.0), 50)
    assert json.loads(json.dumps(asdict(state)))["banks"][0]["strokes"] == state.banks[0].strokes


def test_every_unknown_tag_and_a_too_large_pulse_are_told_at_once() -> None:
    config = ActuationConfig(
        heat=HeatConfig(valve="TCV-999", ready=("FS-999",)),
        fog=FogConfig(bank=(BankConfig(tag="XV-102A", kg_per_h=60.0, cycle_s=120.0),)),
    )
    with pytest.raises(ConfigError) as caught:
        actuation.bind(config, POINTS)
    assert [problem.field for problem in caught.value.problems] == [
        "heat.valve",
        "heat.ready",
        "fog.bank.cycle_s",
    ]


def test_a_chamber_without_frame_heating_or_water_probe() -> None:
    config = ActuationConfig(heat=HeatConfig(water=""), frame_heating=None)
    plan = actuation.bind(config, tuple(point for point in POINTS if point.tag != "YC-106"))
    state, outputs, achieved = actuation.actuate(plan, actuation.initial(plan), RUN, CLIMATE, frame(), 1.0)
    assert achieved.heat_kW_max == 60.0
    assert not state.frame_on
    assert len(outputs.discrete) == 5


def test_frame_heating_margins_are_those_of_the_file() -> None:
    config = replace(ActuationConfig(), frame_heating=FrameHeatingConfig(on_margin_K=3.0, off_margin_K=4.0))
    plan = actuation.bind(config, POINTS)
    _, outputs, _ = actuation.actuate(plan, actuation.initial(plan), RUN, CLIMATE, frame(frames=(31.5, 33.0)), 1.0)
    assert do(outputs, "YC-106")


def test_stages_and_a_fog_pump_have_their_columns_and_no_valve_is_written() -> None:
    """An electric heater in two stages, fog by the speed of its pump, door frames that nothing heats."""
    stages = (StageConfig(tag="XV-102B", kW=30.0), StageConfig(tag="YC-192", kW=30.0))
    config = ActuationConfig(
        heat=ElectricConfig(kind="electric", stage=stages),
        fog=FogConfig(bank=(BankConfig(tag="XV-102A", kg_per_h=30.0, cycle_s=60.0),), modulation="TCV-103"),
        frame_heating=None,
    )
    plan = actuation.bind(config, POINTS)
    state, outputs = actuation.initial(plan), actuation.outputs_at_rest(plan)
    asked = replace(RUN, heat_kW=60.0, fog_kg_per_h=15.0)
    for _ in range(300):
        state, outputs, _ = actuation.actuate(plan, state, asked, CLIMATE, frame(), 1.0)
    assert all(do(outputs, tag) for tag in ("XV-102B", "YC-192"))
    assert not do(outputs, "YC-106")
    assert ao(outputs, "TCV-103") == pytest.approx(50.0)
    assert do(outputs, "XV-102A")
    for _ in range(900):
        state, outputs, _ = actuation.actuate(plan, state, replace(asked, heat_kW=30.0), CLIMATE, frame(), 1.0)
    assert sum(do(outputs, tag) for tag in ("XV-102B", "YC-192")) == 1
    for _ in range(300):
        state, outputs, _ = actuation.actuate(plan, state, NOTHING, CLIMATE, frame(), 1.0)
    assert not any(outputs.discrete)
