"""What a seed draws: always the same, other seeds others, nothing beyond the healing, every kind of fault."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.core.frames import Command
from controller.core.hand.lock_out import Lock, obey
from controller.core.orders.verbs import BYPASS, FORCE, LIFT, LOCK_OUT, MANUAL, SIMULATE, TRIM, VERBS
from controller.core.sequence.phase_kinds import LONG_S
from controller.rig.campaign import matrix, people, swarm, trial
from controller.rig.campaign.bases import BASES, session_of
from controller.rig.campaign.matrix import Cell
from controller.rig.campaign.swarm import HEAL_S, base_of, case_of
from controller.rig.faults import operators
from plantsim.faults import Fault, kinds_of

SCAN_S = 2.0
OWN = [seed for seed in range(200) if base_of(seed) is None]


def test_a_seed_always_draws_the_same_and_another_one_something_else() -> None:
    first, again, other = case_of(OWN[0], 4.0, SCAN_S), case_of(OWN[0], 4.0, SCAN_S), case_of(OWN[1], 4.0, SCAN_S)
    assert first == again
    assert replace(other, seed=first.seed) != first


def test_seeds_spread_over_bases_and_cycles_of_their_own() -> None:
    drawn = [base_of(seed) for seed in range(2000)]
    assert set(drawn) == {*BASES, None}
    assert drawn.count(None) / len(drawn) == pytest.approx(swarm.AFRESH_SHARE, abs=0.04)


def test_every_cycle_of_its_own_can_be_bound() -> None:
    for seed in OWN[:6]:
        base = swarm._own_base(seed)
        assert 20.0 <= base.tonnes <= 120.0
        assert session_of(base, SCAN_S).plan.dt_s == SCAN_S


def test_every_kind_of_fault_is_met_by_some_seed() -> None:
    met = {fault.kind for seed in range(120) for fault in swarm.drawn(seed, BASES["gentle"], SCAN_S, 8.0)}
    assert met == set(kinds_of())


def test_nothing_is_wrong_after_the_healing() -> None:
    for seed in OWN[:6]:
        case = case_of(seed, 3.0, SCAN_S)
        assert case.heal_s == 3.0 * 3600.0 - HEAL_S
        assert all(fault.end_s <= case.heal_s for fault in case.faults)
        late = [order for scan, order in case.orders if scan * SCAN_S >= case.heal_s + 60.0]
        assert bool(late) is case.attended or all("anew" in order.id or "people" in order.id for order in late)


@pytest.mark.parametrize(("start_s", "length_s", "end_s"), [
    (100.0, 50.0, 150.0), (100.0, 5000.0, 1000.0), (100.0, None, 1000.0), (990.0, 100.0, 1000.0),
])  # fmt: skip
def test_a_fault_that_would_last_is_cut_at_the_healing(start_s: float, length_s: float | None, end_s: float) -> None:
    [fault] = swarm.healed([Fault(kind="belt-off", start_s=start_s, length_s=length_s)], 1000.0, SCAN_S)
    assert fault.end_s == end_s
    assert swarm.healed([Fault(kind="belt-off", start_s=998.0)], 1000.0, SCAN_S) == ()


def ordered(*seeds: int) -> list[tuple[int, Command]]:
    session = session_of(BASES["gentle"], SCAN_S)
    return [order for seed in seeds or OWN for order in people.orders(seed, session, 14_400.0, SCAN_S)]


def test_people_order_everything_that_there_is() -> None:
    assert {order.verb for _scan, order in ordered()} == VERBS


def test_what_people_override_ends_before_the_healing_and_their_locks_are_lifted() -> None:
    for scan, order in ordered():
        if order.verb in (BYPASS, FORCE, SIMULATE, MANUAL, TRIM):
            assert scan * SCAN_S + 3600.0 * float(dict(order.args)["hours"]) <= 14_400.0 + SCAN_S
    locked = [seed for seed in OWN if LOCK_OUT in {order.verb for _scan, order in ordered(seed)}]
    assert locked
    assert all((7200, LIFT) in [(scan, order.verb) for scan, order in ordered(seed)] for seed in locked)


def test_people_also_lift_the_lock_that_an_old_page_has_hung_again_in_another_name() -> None:
    seed = next(seed for seed in OWN if any(order.verb == LOCK_OUT for _scan, order in ordered(seed)))
    locks = tuple(Lock(who, "shift lead", "drawn", 0.0) for who in (people.WHO, operators.WHO))
    for _scan, order in ordered(seed):
        if order.verb == LIFT and order.id.startswith("people-lift"):
            locks, refused, _told = obey(locks, order, 0.0)
            assert refused == ""
    assert locks == ()


def test_an_outage_lies_before_the_healing_and_some_are_long_enough_for_an_abort() -> None:
    heal_s = 4 * 3600.0 - HEAL_S
    outages = [outage for seed in range(400) if (outage := swarm._outage(seed, heal_s, SCAN_S)) is not None]
    assert len(outages) == pytest.approx(swarm.OUTAGE_SHARE * 400, abs=20)
    assert all(one.start_s >= 60.0 and one.start_s + one.length_s <= heal_s for one in outages)
    assert max(one.length_s for one in outages) > LONG_S
    assert {one.crashed for one in outages} == {True, False}


def test_a_lock_stops_the_fan_right_after_heat_and_nothing_is_wrong_with_that() -> None:
    case = matrix.case_of(Cell("belt-off", "ramp", 2), SCAN_S)
    lock = Command("lock", LOCK_OUT, "anna", (("reason", "works inside"), ("role", "shift lead")))
    outcome = trial.run(replace(case, faults=(), orders=((20, lock),), hours=0.1, heal_s=None))
    assert outcome.violation is None
    assert "run-on-cut" in outcome.met["rules"], "heat was on"
