"""Faults of the plant and at the panel: what they change, and that all is as before when they are over."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from plantsim.faults import KINDS, Fault, Faulted, kinds_of
from plantsim.faults.fit import CIRCUITS
from plantsim.kernel import layout as at

FIRST, END = 20, 60  # scans of what `struck` makes
OPENED = [
    ("door-open", "3", "door_3_closed"), ("power-dip", "", "mains"), ("hand-left-on", "fog", "fog_auto"),
    *(("circuit-open", name, contact) for name, contact in CIRCUITS.items() if name != "burner"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "target", "contact"), OPENED, ids=[case[2] for case in OPENED])
def test_a_fault_at_the_panel_opens_its_contact_and_closes_it_again(
    see: Any, struck: Any, healthy: Any, kind: str, target: str, contact: str
) -> None:
    seen = see(struck(kind, target))
    for scan in range(80):
        assert seen.contacts[scan][contact] == (not FIRST <= scan < END)
    others = {name for name in seen.contacts[0] if name not in (contact, "airflow", "fan_runs")}
    assert all(seen.contacts[s][name] == healthy.contacts[s][name] for s in range(80) for name in others)
    assert (seen.before[1][at.DRIVE :] == seen.chamber._drive[at.DRIVE :]).all()
    assert seen.same(seen.const[30]), "a contact turns no constant"


def test_a_switch_left_in_hand_acts_and_goes_back_to_automatic(see: Any, at_work: Any, healthy: Any) -> None:
    seen = see(Fault(kind="hand-left-on", target="fan", start_s=0.0, length_s=60.0, amount=20.0), steps=60)
    assert seen.chamber.state.gear[at.G_SPEED] == pytest.approx(20.0, abs=0.1)
    assert seen.driven[-1] == at_work, "the outputs stand, and do not count"
    assert healthy.chamber.state.gear[at.G_SPEED] == pytest.approx(60.0, abs=0.1)


def test_a_draught_blows_into_its_bay_only(see: Any, struck: Any, params: Any) -> None:
    seen = see(struck("draught", "2", 0.24))
    leak = seen.chamber.constants.cell[at.C_LEAK]
    levels = params.room.levels
    during, before = (seen.leak_of(const) for const in (seen.const[30], seen.before[0]))
    added = during - before
    assert added[levels : 2 * levels] == pytest.approx(0.24 / levels)
    assert (np.delete(added, np.s_[levels : 2 * levels]) == 0.0).all()
    assert (leak == before).all()


def test_an_overfull_bay_gets_less_air_and_the_others_more(see: Any) -> None:
    seen = see(Fault(kind="overfilled", target="2", amount=0.4))
    share = seen.chamber.constants.share
    assert share[1] / share[0] == pytest.approx(0.4)
    assert share.sum() == pytest.approx(1.0)


IN_PLANT = {"door": "4", "bay": "4", "circuit": "fog-pressure"}
ALL = [
    *(Fault(kind=kind, target="TT-101A") for kind in kinds_of("sensor") if kind != "pegged"),
    Fault(kind="pegged", target="MT-101A"),
    *(Fault(kind=kind, target="heat") for kind in kinds_of("actuator")),
    *(Fault(kind=kind, target=IN_PLANT.get(KINDS[kind].target, "")) for kind in kinds_of("plant")),
    Fault(kind="hand-left-on", target="fan"),
]


@pytest.mark.parametrize("fault", ALL, ids=[fault.kind for fault in ALL])
def test_after_a_fault_the_chamber_is_as_before_and_its_books_are_closed(see: Any, at_work: Any, fault: Fault) -> None:
    struck_by = replace(fault, start_s=20.0, length_s=300.0)
    seen = see(struck_by, steps=400)
    assert seen.same(seen.chamber._const)
    assert seen.driven[-1] == at_work
    assert dict(seen.faulted.contacts) == dict(seen.chamber.contacts)
    assert list(seen.faulted.microamps) == seen.chamber.microamps
    assert seen.faulted.active == ()
    books = seen.chamber.books
    assert abs(books.energy_closure) < 1e-9
    assert abs(books.water_closure) < 1e-9


def test_faults_on_one_knob_join_and_part_in_any_order(make: Any, at_work: Any) -> None:
    made = make()
    full = made.knob("fan_flow")
    both = Faulted(made, [
        Fault(kind="half-power", target="fan", start_s=0, length_s=30, amount=0.3),
        Fault(kind="half-power", target="fan", start_s=10, length_s=10, amount=0.7),
        Fault(kind="door-open", target="1", start_s=0, length_s=20),
        Fault(kind="door-open", target="1", start_s=5, length_s=30),
    ])  # fmt: skip
    flows, doors = [], []
    for _ in range(40):
        both.step(at_work)
        flows.append(made.knob("fan_flow"))
        doors.append(made.contacts["door_1_closed"])
    assert flows == [full * 0.3] * 10 + [full * 0.3 * 0.7] * 10 + [full * 0.3] * 10 + [full] * 10
    assert doors == [False] * 35 + [True] * 5


def test_a_chamber_without_faults_lives_the_same_behind_the_wrapper(see: Any, make: Any, at_work: Any) -> None:
    bare = make()
    for _ in range(50):
        bare.step(at_work)
    wrapped = see(steps=50)
    assert wrapped.chamber._state.tobytes() == bare._state.tobytes()
    assert wrapped.uA[-1] == bare.microamps
