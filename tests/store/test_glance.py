"""What somebody who looks on finds, and finds quickly."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from controller.core.frames import Event
from controller.store.glance import Glance
from controller.store.reader import Reader
from controller.store.recorder import Recorder, Scan

Make = Callable[..., Recorder[Any]]


def test_the_newest_scan_is_found_in_the_tail_and_after_it_was_folded(
    make_recorder: Make, make_header: Callable[[], Any], make_scan: Callable[..., Scan], path: Path
) -> None:
    recorder = make_recorder(every_scan=True)
    for scan in range(130):
        recorder.add(make_scan(scan))
        recorder.commit()
        if scan in (10, 59, 60, 129):
            glance = Glance(path)
            newest = glance.newest(make_header())
            assert newest is not None
            assert (glance.scan(), newest.scan, newest.utc_ms) == (scan, scan, 1000 * scan)
            assert newest.values == make_scan(scan).values
            assert newest.computed == make_scan(scan).computed
            glance.close()


def test_minutes_by_time_are_those_of_a_whole_read_wherever_the_span_begins_and_ends(
    make_recorder: Make, make_scan: Callable[..., Scan], path: Path
) -> None:
    """Eight hours: long enough that the search by halving cuts at both ends."""
    recorder = make_recorder()
    for scan in range(8 * 3600):
        recorder.add(make_scan(scan))
    recorder.commit()
    with Reader(path) as reader:
        rows = [tuple(row) for row in reader.minutes("TY-1")]
    glance = Glance(path)
    columns = glance.columns()
    hour = 3_600_000
    for from_ms, to_ms in ((0, 2**53), (0, hour), (3 * hour, 3 * hour + 1), (5 * hour, 2**53), (7 * hour, 8 * hour)):
        expected = [row for row in rows if from_ms <= row[0] < to_ms]
        assert glance.column(columns, "TY-1", from_ms, to_ms) == expected, (from_ms, to_ms)
    begins = [row[0] for row in glance.minute_columns(1, 6 * hour, limit=3)]
    assert begins == [6 * hour, 6 * hour + 60_000, 6 * hour + 120_000]
    glance.close()


def test_lines_come_newest_first_and_an_outcome_is_found_by_its_id(
    make_recorder: Make, make_scan: Callable[..., Scan], path: Path
) -> None:
    recorder = make_recorder()
    said = ("id", "a-1"), ("outcome", "refused"), ("reason", "not now")
    recorder.add(make_scan(0, Event("note", "", "one"), Event("command", "", "start: refused", said)))
    recorder.add(make_scan(1, Event("state", "", "idle -> running", (("from", "idle"), ("to", "running")))))
    recorder.commit()
    glance = Glance(path)
    assert [row.text for row in glance.lines(limit=2)] == ["idle -> running", "start: refused"]
    assert [row.text for row in glance.lines(kinds=("note", "state"))] == ["idle -> running", "one"]
    assert [row.text for row in glance.lines(before=2)] == ["one"]
    found = glance.outcome("a-1")
    assert found is not None
    assert found.data["reason"] == "not now"
    assert glance.outcome("a-2") is None
    assert glance.outcome("a-1", after=found.id) is None
    assert glance.began() == (1, 1000), "cycle of the record and UTC"
    glance.close()
