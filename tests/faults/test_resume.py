"""A controller comes back: what was latched is latched, the clock stands still, other files are not slipped in."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from controller.core.hand.lock_out import Lock
from controller.core.hand.register import ByHand, Entry
from controller.core.invariants.invariants import FRESH
from controller.core.upkeep import wear
from controller.errors import ConfigError
from controller.runtime.loop import Start
from controller.runtime.resume import begin, differences, last_utc_ms, panel_anew
from controller.runtime.session import CODEC, prepare
from controller.store.recorder import Recorder

ENDED = 260
AWAY_MS = 120_000
NOW_MS = 1000 * (ENDED - 1) + AWAY_MS


@pytest.fixture
def record(tmp_path: Path) -> Path:
    return tmp_path / "record.sqlite"


def live(rig: Any, record: Path, scans: int = ENDED, **what: Any) -> None:
    recorder = Recorder(record, rig.session.header("direct", simulated=True), CODEC, began_ms=0, group_minutes=1)
    rig.run(scans, recorder=recorder, **what)
    recorder.close()


def header(rig: Any) -> Any:
    return rig.session.header("direct", simulated=True)


def test_a_running_cycle_is_held_and_time_goes_on_over_the_outage(rig: Any, record: Path) -> None:
    live(rig, record)
    before = rig.results[-1].state
    start = begin(rig.session, record, header(rig), NOW_MS)
    assert (start.scan, start.now_s) == (ENDED, ENDED - 1 + 120.0)
    assert start.state == replace(
        before, memory=FRESH, upkeep=start.state.upkeep, product=start.state.product,
        sequence=replace(before.sequence, back_s=0.0), signals=replace(before.signals, silent_s=120.0),
    )
    assert start.state.product.ages_h == before.product.ages_h
    assert start.state.product.unheated_s == 119.0, "and one second is the next scan's own"
    assert [command.verb for command in start.commands] == ["hold"]
    assert "no controller from" in start.events[0].text
    rig.results.clear()
    rig.run(30, start=start)
    assert [rig.state(scan) for scan in (0, 1, 29)] == ["holding", "held", "held"]
    assert {result.state.sequence.phase_s for result in rig.results} == {before.sequence.phase_s}
    assert rig.plant.device.read()[6] == 0  # no block was stale: the count went on from the echo


def test_a_phase_that_resumes_by_itself_waits_a_minute_and_goes_on_where_it_stood(
    rig: Any, record: Path, quick_recipe: Path
) -> None:
    text = quick_recipe.read_text(encoding="utf-8")
    quick_recipe.write_text(text.replace('kind = "hold"', 'kind = "hold"\non_outage = "resume"'), encoding="utf-8")
    session = prepare(rig.session.asked)
    rig.session = session
    live(rig, record)
    before = rig.results[-1].state.sequence
    start = begin(session, record, header(rig), NOW_MS)
    assert [command.verb for command in start.commands] == ["hold"]
    assert [(scan - start.scan, command.verb, command.who) for scan, command in start.later] == [
        (60, "restart", "restart")
    ]
    rig.results.clear()
    rig.run(4500, start=start)
    assert [rig.state(scan) for scan in (0, 1, 59, 60, -1)] == ["holding", "held", "held", "restarting", "running"]
    back = next(scan for scan in range(4500) if rig.state(scan) == "running")
    after = rig.results[-1].state.sequence
    assert after.phase == before.phase
    assert after.phase_s + after.waiting_s - before.phase_s - before.waiting_s == pytest.approx(4500 - back, abs=2)


@pytest.mark.parametrize(("alone", "state", "trips"), [(True, "restarting", []), (False, "held", ["watchdog"])])
def test_a_watchdog_that_tripped_in_the_outage_holds_up_only_what_a_person_has_to_restart(
    rig: Any, record: Path, quick_recipe: Path, alone: bool, state: str, trips: list[str]
) -> None:
    """The panel lives on for two minutes without control: its watchdog puts outputs to their safe values."""
    text = quick_recipe.read_text(encoding="utf-8")
    if alone:
        quick_recipe.write_text(text.replace('kind = "hold"', 'kind = "hold"\non_outage = "resume"'), encoding="utf-8")
    rig.session = prepare(rig.session.asked)
    live(rig, record)
    start = replace(begin(rig.session, record, header(rig), NOW_MS), skipped_scans=120)
    rig.results.clear()
    rig.journal.clear()
    rig.run(75, start=start)
    assert rig.plant.device.trips == 1
    assert rig.state(74) == state
    assert [event.tag for _scan, event in rig.rows("trip")] == trips
    assert bool(rig.out(20, "YC-103")) is alone, "and meanwhile it is heated, or not"


def test_a_watchdog_that_trips_later_is_a_trip_again(rig: Any, record: Path, quick_recipe: Path) -> None:
    text = quick_recipe.read_text(encoding="utf-8")
    quick_recipe.write_text(text.replace('kind = "hold"', 'kind = "hold"\non_outage = "resume"'), encoding="utf-8")
    rig.session = prepare(rig.session.asked)
    live(rig, record)
    start = begin(rig.session, record, header(rig), NOW_MS)
    assert start.state.greeting_s == 10.0
    rig.results.clear()
    rig.journal.clear()
    rig.run(60, start=start, acts={start.scan + 30: rig.plant.device._trip})
    assert rig.results[9].state.greeting_s == 0.0
    assert [(scan - start.scan, event.tag) for scan, event in rig.rows("trip")] == [(31, "watchdog")]


def test_air_that_has_changed_in_the_outage_is_no_jump_of_its_probes(rig: Any, record: Path) -> None:
    live(rig, record)
    rig.plant.chamber.start(26.0, 90.0)
    rig.plant.device.tick()
    start = begin(rig.session, record, header(rig), NOW_MS)
    rig.results.clear()
    rig.journal.clear()
    rig.run(30, start=start)
    assert rig.results[0].climate.temperature_degC > 24.0
    assert {quality for result in rig.results for quality in result.frame.qualities} == {0}
    assert [event.tag for _scan, event in rig.rows("trip")] == []


def test_nothing_resumes_by_itself_while_a_protection_acts(rig: Any, record: Path, quick_recipe: Path) -> None:
    text = quick_recipe.read_text(encoding="utf-8")
    quick_recipe.write_text(text.replace('kind = "hold"', 'kind = "hold"\non_outage = "resume"'), encoding="utf-8")
    rig.session = prepare(rig.session.asked)
    live(rig, record)
    start = begin(rig.session, record, header(rig), NOW_MS)
    rig.results.clear()
    rig.journal.clear()
    rig.plant.chamber.set_condition("person_healthy", False)
    rig.run(90, start=start)
    assert rig.state(89) == "held"
    assert "restart by restart: refused, a protection still acts" in rig.rows("command")[-1][1].text


def test_a_chamber_that_is_found_too_cold_is_aborted_after_a_minute_of_moving_air(rig: Any, record: Path) -> None:
    """A chamber whose limits begin at 25 degC, come back to with 20.5."""
    live(rig, record)
    plan = rig.session.plan
    phases = tuple(replace(phase, air_degC_min=25.0) for phase in plan.sequence.phases)
    rig.session = replace(rig.session, plan=replace(plan, sequence=replace(plan.sequence, phases=phases)))
    start = begin(rig.session, record, header(rig), NOW_MS)
    rig.results.clear()
    rig.journal.clear()
    rig.run(70, start=start)
    assert [rig.state(scan) for scan in (0, 1, 58, 59, 60, 69)] == [
        "holding", "held", "held", "aborting", "aborted", "aborted"
    ]
    found = rig.results[59].climate.temperature_degC
    told = [event.text for _scan, event in rig.rows("state")][-2]
    assert f"after the outage the air is {found:.1f} degC, outside 25 to 45 degC" in told
    assert not any(rig.out(scan, tag) for scan in range(60, 70) for tag in ("YC-103", "XV-102A", "XV-102B"))


def test_a_latched_trip_is_latched_after_the_restart_until_a_person_resets(rig: Any, record: Path) -> None:
    """Person inside pressed and released before the controller died; nothing but the record knows of it."""
    chamber = rig.plant.chamber
    live(rig, record, acts={
        205: lambda: chamber.set_condition("person_healthy", False),
        220: lambda: chamber.set_condition("person_healthy", True),
    })
    assert rig.results[-1].verdict.trips == ("person-inside",)
    start = begin(rig.session, record, header(rig), NOW_MS)
    assert start.commands == ()  # it is held already
    rig.results.clear()
    rig.journal.clear()
    orders = {ENDED + 30: "restart", ENDED + 40: "reset-trips", ENDED + 70: "restart"}
    rig.run(100, start=start, orders=orders)
    assert all(result.verdict.trips == ("person-inside",) for result in rig.results[:40])
    assert not any(rig.out(scan, tag) for scan in range(40) for tag in ("YC-103", "XV-102A", "XV-102B", "YC-101"))
    outcomes = [event.text for _scan, event in rig.rows("command")]
    assert outcomes[0].startswith("restart by test: refused, a protection still acts")
    assert outcomes[1:] == ["reset-trips by test: done", "restart by test: done"]
    assert {rig.state(scan) for scan in range(70)} == {"held"}


def test_a_long_outage_aborts(rig: Any, record: Path) -> None:
    live(rig, record)
    start = begin(rig.session, record, header(rig), NOW_MS + 3_600_000)
    rig.results.clear()
    rig.run(5, start=start)
    assert rig.state(4) == "aborted"


def test_a_cycle_in_progress_keeps_its_files_and_its_charge(rig: Any, record: Path, quick_recipe: Path) -> None:
    live(rig, record)
    quick_recipe.write_text(quick_recipe.read_text().replace("time_h = 5.0", "time_h = 6.0"), encoding="utf-8")
    other = prepare(replace(rig.session.asked, load_t=80.0))
    now = other.header("direct", simulated=True)
    assert [what for what, _was, _is in differences(header(rig), now)] == ["recipe", "load_t"]
    with pytest.raises(ConfigError) as refused:
        begin(other, record, now, NOW_MS)
    assert [problem.field for problem in refused.value.problems] == ["recipe", "load_t"]
    assert "a cycle is in progress there (running)" in str(refused.value)


def test_a_chamber_at_rest_takes_a_new_charge_and_keeps_its_trips(rig: Any, record: Path) -> None:
    """Emergency stop in the hold: aborted, still latched; the next charge is another one."""
    live(rig, record, acts={205: lambda: rig.plant.chamber.set_condition("estop_healthy", False)})
    other = prepare(replace(rig.session.asked, load_t=80.0, mix_degC=26.0))
    start = begin(other, record, other.header("direct", simulated=True), NOW_MS)
    assert start.state.sequence.state == "aborted"
    assert start.state.protection == rig.results[-1].state.protection
    assert repr(start.state.product) == repr(other.fresh().product)  # NaN is unequal to itself
    assert start.commands == ()


def test_other_panel_files_are_refused_while_a_trip_is_latched(
    rig: Any, record: Path, tmp_path: Path
) -> None:
    live(rig, record, acts={205: lambda: rig.plant.chamber.set_condition("estop_healthy", False)})
    now = header(rig)
    now = replace(now, texts={**now.texts, "chamber": now.texts["chamber"] + "# edited\n"})
    with pytest.raises(ConfigError, match="trips are latched there"):
        begin(rig.session, record, now, NOW_MS)


def test_nothing_to_come_back_to(rig: Any, record: Path) -> None:
    start = begin(rig.session, record, header(rig), NOW_MS)
    assert (start.scan, start.now_s, start.commands, start.events) == (0, 0.0, (), ())
    assert repr(replace(start.state, upkeep=rig.session.fresh().upkeep)) == repr(rig.session.fresh())
    assert last_utc_ms(record) is None
    live(rig, record, scans=10)
    assert last_utc_ms(record) == 9000


def test_what_was_put_by_hand_ends_bypasses_and_locks_stay_and_hours_go_on(rig: Any, record: Path) -> None:
    """Whoever forced an output is not there when the controller comes back; whoever hung a lock may still be inside."""
    entries = tuple(
        Entry(kind, tag, value, 0.0, 3600.0, "ana", "engineer", "trial")
        for kind, tag, value in (("force", "ZC-120", 50.0), ("bypass", "fog-pressure", 0.0), ("manual", "fan", 80.0))
    )
    hands = ByHand(entries, (Lock("ben", "maintenance", "belt", 0.0),), given=3, idle=False)
    fresh = rig.session.fresh()
    live(rig, record, start=Start(state=replace(fresh, by_hand=hands)))
    start = begin(rig.session, record, header(rig), NOW_MS)
    orders = [(command.verb, command.who) for command in start.commands]
    assert orders == [("release", "restart"), ("automatic", "restart")]
    assert start.state.by_hand == rig.results[-1].state.by_hand
    rig.results.clear()
    rig.run(5, start=start)
    after = rig.results[-1].state.by_hand
    assert [entry.kind for entry in after.entries] == ["bypass"]
    assert [lock.who for lock in after.locks] == ["ben"]
    assert not any(rig.out(scan, "YC-101") for scan in range(5))


def test_hours_do_not_count_an_outage_and_the_calendar_is_told(rig: Any, record: Path) -> None:
    live(rig, record)
    before = {drive.tag: drive for drive in wear.upto(rig.results[-1].state.upkeep.wear, float(ENDED - 1))}
    assert before["YS-101"].on_s > 100.0
    start = begin(rig.session, record, header(rig), NOW_MS)
    after = {drive.tag: drive for drive in wear.upto(start.state.upkeep.wear, start.now_s)}
    assert after["YS-101"].on_s == pytest.approx(before["YS-101"].on_s)
    assert start.state.upkeep.duty.epoch_s == pytest.approx(0.001 * NOW_MS - start.now_s)
    rig.results.clear()
    rig.run(5, start=start)
    assert wear.upto(rig.results[-1].state.upkeep.wear, start.now_s + 4.0)[0].starts == before["YS-101"].starts + 1


def test_a_panel_that_has_started_anew_is_told_plainly(rig: Any, record: Path) -> None:
    """A fresh simulated chamber under an old record: what it reports is its own start, and it is not this product."""
    live(rig, record)
    image = rig.session.image
    same = image.decode(rig.link.read())
    assert panel_anew(record, image.decode, same) is None
    told = panel_anew(record, image.decode, replace(same, counter=3))
    assert told is not None
    assert told.text.startswith("the panel has started anew since the last scan in this record (its scan counter")
    assert told.text.endswith("does not hold what this record knows: give another --out for it")
    real = panel_anew(record, image.decode, replace(same, counter=3, simulated=False))
    assert real is not None
    assert "simulated" not in real.text
    assert panel_anew(record.with_name("none.sqlite"), image.decode, same) is None
