"""The loop keeps its promises to the device: reads first, counts its heartbeat, ages frames, ends safe."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.core.frames import Command, Event
from controller.errors import InvariantError, LinkError
from controller.runtime.loop import Runner, Start
from controller.runtime.orders import MergedOrders, ScriptOrders
from controller.runtime.reserve import Reserve
from controller.runtime.rest import safe_outputs
from controller.store.recorder import Scan

Make = Callable[..., Runner]
START = Command("a", "start", "script")


class FakeClock:
    """Real time without waiting: each wait is late by the next number."""

    lockstep = False
    missed = 0

    def __init__(self, *late_s: float) -> None:
        self._late = list(late_s)

    def wait(self) -> float:
        return self._late.pop(0) if self._late else 0.0

    def utc_ms(self, scan: int, /) -> int:
        return 1000 * scan


class Sink:
    def __init__(self) -> None:
        self.rows: list[Scan] = []
        self.notices: deque[Event] = deque()

    def add(self, row: Scan) -> None:
        self.rows.append(row)

    def texts(self, kind: str) -> list[str]:
        return [event.text for row in self.rows for event in row.events if event.kind == kind]


def test_first_contact_is_a_read_and_nothing_is_written_when_it_fails(
    make_runner: Make, panel: Any, start: Start
) -> None:
    panel.dead = 1
    with pytest.raises(LinkError):
        make_runner().run(start, 3)
    assert panel.calls == ["read"]


def test_lockstep_turns_and_real_time_reads_then_writes(make_runner: Make, panel: Any, start: Start) -> None:
    make_runner().run(start, 3)
    assert panel.calls == ["read", "turn", "turn", "turn", "write"]
    panel.calls.clear()
    make_runner(clock=FakeClock()).run(start, 3)
    assert panel.calls == ["read", "write", "read", "write", "read", "write", "write"]


def test_each_scan_sees_the_answer_to_the_turn_before(make_runner: Make, step: Any, start: Start) -> None:
    make_runner().run(start, 4)
    assert [raw.analog[0] for raw, _commands, _now_s in step.seen] == [4000, 4001, 4002, 4003]


@pytest.mark.parametrize("echo", [41, 65534, 65535])
def test_takes_over_from_the_heartbeat_of_the_device_and_wraps(
    make_runner: Make, panel: Any, start: Start, echo: int
) -> None:
    """A device with an old controller's count must take the very first block; one scan lived for each of ours."""
    panel.echo = echo
    make_runner().run(start, 3)
    assert [words[0] for words in panel.written] == [(echo + beat) % 65536 for beat in (1, 2, 3, 4)]
    assert panel.lived == 4


def test_a_simulated_outage_is_a_jump_of_the_heartbeat(make_runner: Make, panel: Any, start: Start) -> None:
    panel.echo = 10
    make_runner().run(replace(start, skipped_scans=600), 1)
    assert panel.written[0][0] == 611


def test_heartbeat_counts_through_a_silence_and_frames_age(
    make_runner: Make, panel: Any, step: Any, start: Start
) -> None:
    """Three lost turns: ages 1, 2, 3, values as last seen, no simulated time lost once it answers."""
    sink = Sink()

    def cut(scan: int, _result: Any) -> None:
        if scan == 1:
            panel.dead = 3

    report = make_runner(recorder=sink).run(start, 7, each=cut)
    assert [raw.age_scans for raw, _commands, _now_s in step.seen] == [0, 0, 0, 1, 2, 3, 0]
    assert len({raw.analog for raw, _commands, _now_s in step.seen[2:6]}) == 1
    assert panel.lived == 8  # seven scans and the safe block
    assert report.link_failures == 3
    assert sink.texts("link") == ["no reply from p; check the cable", "the device answers again after 3 scans"]


def test_a_device_that_answers_but_does_not_live_gives_no_fresh_frames(
    make_runner: Make, panel: Any, step: Any, start: Start
) -> None:
    panel.frozen = True
    make_runner().run(start, 4)
    assert [raw.age_scans for raw, _commands, _now_s in step.seen] == [0, 1, 2, 3]


def test_last_block_is_safe_whatever_ends_the_run(make_runner: Make, panel: Any, step: Any, start: Start) -> None:
    make_runner().run(start, 2)
    assert panel.written[-2][1:] == [1000, 2500, 1]
    assert panel.written[-1][1:] == [1000, 0, 1]  # valve shut, fan on

    class BugError(Exception):
        pass

    def fails(*_args: Any) -> Any:
        raise BugError

    with pytest.raises(BugError):
        make_runner(columns=fails, recorder=Sink()).run(start, 2)
    assert panel.written[-1][2:] == [0, 1]


def test_without_memory_what_was_put_by_is_given_back_before_the_last_block(
    make_runner: Make, panel: Any, start: Start, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    release, write = Reserve.release, panel.write
    monkeypatch.setattr(Reserve, "release", lambda reserve: (done.append("given back"), release(reserve)))
    monkeypatch.setattr(panel, "write", lambda words: (done.append("written"), write(words)))

    def short(_scan: int, _result: Any) -> None:
        raise MemoryError

    runner = make_runner()
    with pytest.raises(MemoryError):
        runner.run(start, 3, each=short)
    assert done == ["given back", "written"]
    assert panel.written[-1][2:] == [0, 1]
    assert runner._reserve._kept.closed


def test_ends_on_its_condition_on_stop_and_on_the_count(make_runner: Make, start: Start) -> None:
    assert make_runner().run(start, 5).why == "scans"
    done = make_runner().run(start, 50, until=lambda result: result.state.scans == 4)
    assert (done.why, done.scans) == ("done", 4)
    runner = make_runner()
    stopped = runner.run(start, 50, each=lambda scan, _result: runner.stop() if scan == 2 else None)
    assert (stopped.why, stopped.scans) == ("stopped", 3)


def test_broken_invariant_sends_safe_outputs_aborts_and_is_journaled_once(
    make_runner: Make, panel: Any, step: Any, start: Start
) -> None:
    sink = Sink()
    step.breaks = frozenset((2, 3))
    report = make_runner(recorder=sink).run(start, 6)
    assert [words[2] for words in panel.written] == [2500, 2500, 0, 0, 2500, 2500, 0]
    assert [commands[0].verb for _raw, commands, _now_s in step.seen if commands] == ["abort"]
    assert len(sink.texts("invariant")) == 1
    assert report.invariants_broken == 2


def test_the_pulse_for_a_watchdog_relay_stands_still_while_safe_outputs_are_sent(
    make_runner: Make, panel: Any, step: Any, start: Start, pulsed: Any
) -> None:
    """Off in the broken scans and in the last block of a run, whatever the heartbeat; else with its lowest bit."""
    points, image = pulsed
    step.breaks, step.coils = frozenset((2, 3)), (True, False)
    make_runner(image=image, safe=safe_outputs(points)).run(start, 6)
    assert [words[0] & 1 for words in panel.written] == [1, 0, 1, 0, 1, 0, 1]
    assert [words[3] >> 9 & 1 for words in panel.written] == [1, 0, 0, 0, 1, 0, 0]


def test_broken_invariant_raises_when_strict_after_safe_outputs(
    make_runner: Make, panel: Any, step: Any, start: Start
) -> None:
    step.breaks = frozenset((1,))
    with pytest.raises(InvariantError, match="scan 1: no heat without air"):
        make_runner(strict=True).run(start, 6)
    assert [words[2] for words in panel.written] == [2500, 0, 0]


def test_outputs_that_do_not_fit_are_a_broken_invariant(make_runner: Make, panel: Any, step: Any, start: Start) -> None:
    step.valve_pct = float("nan")
    report = make_runner().run(start, 2)
    assert report.invariants_broken == 2
    assert {words[2] for words in panel.written} == {0}


def test_orders_come_in_their_scan_and_a_restart_goes_first(make_runner: Make, step: Any, start: Start) -> None:
    orders = MergedOrders(ScriptOrders([(5, START)]), ScriptOrders([(5, Command("b", "hold", "desk"))]))
    hold = Command("r", "hold", "restart")
    make_runner(orders=orders).run(replace(start, scan=5, now_s=70.0, commands=(hold,)), 2)
    assert [[command.id for command in commands] for _raw, commands, _now_s in step.seen] == [["r", "a", "b"], []]
    assert [now_s for _raw, _commands, now_s in step.seen] == [70.0, 71.0]


def test_overruns_are_counted_and_told_once_a_minute(make_runner: Make, start: Start) -> None:
    sink = Sink()
    report = make_runner(clock=FakeClock(0.0, 1.5, 2.0), recorder=sink).run(start, 5)
    assert report.overruns == 2
    assert len(sink.texts("note")) == 1
    assert "began 1.5 s late" in sink.texts("note")[0]


def test_three_late_scans_are_ordered_to_be_an_alarm_and_taken_back_after_a_minute(
    make_runner: Make, step: Any, start: Start
) -> None:
    make_runner(clock=FakeClock(1.5, 1.5, 1.5)).run(start, 70)
    given = [(scan, dict(one.args)["active"]) for scan, (_raw, found, _now_s) in enumerate(step.seen) for one in found]
    assert given == [(3, True), (62, False)]


def test_a_broken_invariant_is_ordered_to_be_an_alarm_and_a_full_disk_too(
    make_runner: Make, step: Any, start: Start
) -> None:
    sink = Sink()

    step.breaks = frozenset((2,))

    def refuse(scan: int, _result: Any) -> None:
        if scan == 3:
            sink.notices.append(Event("note", "RECORD", "disk full", (("active", True),)))

    make_runner(recorder=sink).run(start, 7, each=refuse)
    given = [
        (scan, one.verb, dict(one.args).get("tag"))
        for scan, (_raw, found, _now_s) in enumerate(step.seen)
        for one in found
    ]
    assert given == [(3, "abort", None), (3, "trouble", "program-fault"), (5, "trouble", "record-failing")]


def test_recorder_gets_every_scan_with_its_words_and_the_runtimes_own_events(make_runner: Make, start: Start) -> None:
    sink = Sink()
    sink.notices.append(Event("note", "RECORD", "disk full"))
    outage = Event("note", "OUTAGE", "away")
    make_runner(recorder=sink).run(replace(start, events=(outage,)), 3)
    assert [row.scan for row in sink.rows] == [0, 1, 2]
    assert [row.utc_ms for row in sink.rows] == [0, 1000, 2000]
    assert sink.rows[1].words[:2] == b"\x00\x00"
    assert len(sink.rows[0].words) == 2 * (1 + 10 + 4)
    assert [event.text for event in sink.rows[0].events] == ["away", "disk full"]
