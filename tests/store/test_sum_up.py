"""A cycle that is over may get its summary later, while the next one is written: sealed then, and unchanged."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from controller.store.reader import Reader
from controller.store.verify import verify
from tests.store.test_recorder import record

Make = Callable[..., Any]


def test_the_summary_of_a_cycle_that_is_over_comes_later_and_belongs_to_the_record(
    path: Path, make_recorder: Make, make_scan: Make, make_header: Make
) -> None:
    recorder = make_recorder(group_minutes=1)
    record(recorder, make_scan, 0, 70)
    recorder.add(make_scan(70)._replace(begins=make_header()))  # the same head: all the same another cycle
    record(recorder, make_scan, 71, 140)
    recorder.sum_up(1, {"verdict": "pass"})
    recorder.sum_up(2, {"verdict": "not over"})
    record(recorder, make_scan, 140, 270)
    recorder.sum_up(1, {"verdict": "another"})
    recorder.close()
    with Reader(path) as reader:
        first, second = reader.cycles()
        assert (first.last_scan, first.summary) == (69, {"verdict": "pass"})
        assert (second.ended_ms, second.summary) == (None, None)
        assert [row.scan for row in reader.frames()] == list(range(270))
    assert verify(path) == []


def test_a_recorder_that_goes_on_afterwards_goes_on_with_the_open_cycle(
    path: Path, make_recorder: Make, make_scan: Make, make_header: Make
) -> None:
    recorder = make_recorder()
    record(recorder, make_scan, 0, 70)
    recorder.add(make_scan(70)._replace(begins=make_header()))
    recorder.close()
    again = make_recorder()
    record(again, make_scan, 71, 75)
    again.sum_up(1, {"verdict": "pass"})
    again.close()
    with Reader(path) as reader:
        assert [(row.cycle, bool(row.summary)) for row in reader.cycles()] == [(1, True), (2, False)]
    assert verify(path) == []
