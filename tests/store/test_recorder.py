"""What is recorded can be read back, in lockstep and scan by scan, whoever was killed in between."""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from controller.core.frames import Command, Event
from controller.errors import StoreError
from controller.store.reader import Reader
from controller.store.recorder import Recorder
from controller.store.seal import seal_cycle
from controller.store.threaded import ThreadedRecorder
from controller.store.verify import verify

Make = Callable[..., Any]
EVENT = Event("state", "", "running", (("from", "idle"), ("at_degC", float("nan"))))
COMMAND = Command("c-1", "start", "script", (("recipe", "gentle"),))


def record(recorder: Any, make_scan: Make, first: int, last: int) -> None:
    """Scans first..last-1, a command and its event in each 50th."""
    for scan in range(first, last):
        row = make_scan(scan)
        recorder.add(row._replace(commands=(COMMAND,), events=(EVENT,)) if scan % 50 == 0 else row)


def words_of(reader: Reader, first: int = 0, last: int | None = None) -> list[bytes]:
    """Frames packed again, to be held against what went in."""
    rows = list(reader.frames(first, last))
    return [struct.pack(">7H", row.age_scans, *row.inputs, *row.outputs) for row in rows]


@pytest.mark.parametrize("every_scan", [False, True])
def test_every_frame_comes_back_bit_for_bit(
    path: Path, make_recorder: Make, make_scan: Make, every_scan: bool
) -> None:
    recorder = make_recorder(every_scan=every_scan)
    record(recorder, make_scan, 0, 730)
    recorder.commit()
    recorder.close()
    with Reader(path) as reader:
        assert words_of(reader) == [make_scan(scan).words for scan in range(730)]
        assert words_of(reader, 58, 121) == [make_scan(scan).words for scan in range(58, 122)]
        assert [row.utc_ms for row in reader.frames(100, 102)] == [100_000, 101_000, 102_000]
    assert verify(path) == []


def test_minutes_of_one_column(path: Path, make_recorder: Make, make_scan: Make) -> None:
    recorder = make_recorder()
    record(recorder, make_scan, 0, 150)
    recorder.close()
    with Reader(path) as reader:
        dew = reader.minutes("MY-1")
        assert [row.utc_ms for row in dew] == [0, 60_000, 120_000]
        assert [row[1:4] for row in dew] == [(0, 29.5, 59), (60, 89.5, 119), (120, 134.5, 149)]
        assert len(reader.minutes("TT-1", from_ms=60_000, to_ms=60_000)) == 1
        with pytest.raises(StoreError, match="no column TT-9; its columns: TT-1"):
            reader.minutes("TT-9")


def test_orders_and_events_are_journal_lines_in_their_order(path: Path, make_recorder: Make, make_scan: Make) -> None:
    recorder = make_recorder()
    recorder.add(make_scan(0, EVENT, commands=(COMMAND,)))
    recorder.add(make_scan(1))
    recorder.add(make_scan(2, EVENT))
    recorder.commit()
    with Reader(path) as reader:
        lines = reader.journal()
        assert [line[:2] for line in lines] == [(1, 0), (2, 0), (3, 2)]
        assert [line.kind for line in lines] == ["order", "state", "state"]
        assert lines[0].data == {"id": "c-1", "verb": "start", "who": "script", "args": {"recipe": "gentle"}}
        assert lines[1].data["from"] == "idle"
        assert [line.id for line in reader.journal(after_id=1, kind="state", limit=1)] == [2]


def test_lockstep_commits_in_groups_and_acknowledges_only_then(make_recorder: Make, make_scan: Make) -> None:
    recorder = make_recorder(group_minutes=2)
    record(recorder, make_scan, 0, 119)
    assert recorder.last_id == 0
    record(recorder, make_scan, 119, 120)
    assert recorder.last_id == 6


def test_restart_goes_on_with_the_cycle_and_folds_what_was_left(
    path: Path, make_recorder: Make, make_scan: Make
) -> None:
    """A process dies at scan 75, 15 scans after a fold; another one goes on at scan 80."""
    left = make_recorder(every_scan=True, killed=True)
    for scan in range(75):
        left.add(make_scan(scan, EVENT))
        left.commit()
    after = make_recorder(every_scan=True)
    assert (after.last_scan, after.last_id) == (74, 75)
    record(after, make_scan, 80, 90)
    after.close()
    with Reader(path) as reader:
        assert [row.scan for row in reader.frames()] == [*range(75), *range(80, 90)]
        assert reader.minutes("MY-1")[1][1:] == (60, 67, 74, 0)
        assert len(reader.cycles()) == 1
    assert verify(path) == []


def test_another_header_begins_another_cycle_in_the_same_chain(
    path: Path, make_recorder: Make, make_scan: Make, make_header: Make
) -> None:
    first = make_recorder()
    record(first, make_scan, 0, 60)
    first.close()
    second = make_recorder(header=make_header(tags=("TT-1", "TT-2", "MT-9")))
    record(second, make_scan, 60, 120)
    second.end_cycle({"verdict": "pass"}, 99_000)
    second.close()
    with Reader(path) as reader:
        cycles = reader.cycles()
        assert [cycle.header.columns[2] for cycle in cycles] == ["MT-1", "MT-9"]
        assert cycles[1].header.texts == {"recipe": "name = 'gentle'\n"}
        assert (cycles[1].ended_ms, cycles[1].last_scan, cycles[1].summary) == (99_000, 119, {"verdict": "pass"})
        assert len(reader.minutes("MT-1")) == len(reader.minutes("MT-9")) == 1
        assert len(reader.minutes("TT-1")) == 2
    assert verify(path) == []


def test_checkpoint_and_latest_are_of_the_newest_scan_in_the_commit(
    path: Path, make_recorder: Make, make_scan: Make
) -> None:
    recorder = make_recorder()
    record(recorder, make_scan, 0, 65)
    recorder.commit()
    with Reader(path) as reader:
        checkpoint = reader.checkpoint()
        assert checkpoint is not None
        assert (checkpoint.scan, checkpoint.now_s, checkpoint.state) == (64, 64.0, '[{"scans":64}]')
        assert reader.last_scan() == (64, 64_000)


@pytest.mark.parametrize(("scan_s", "taken", "oldest"), [(1.0, 1, 9), (1.0, 3, 9), (5.0, 1, 1), (0.25, 1, 9)])
def test_what_is_saved_is_never_older_than_ten_seconds_or_ten_scans(
    path: Path, make_recorder: Make, make_scan: Make, make_header: Make, scan_s: float, taken: int, oldest: int
) -> None:
    """Scans of which nothing is journaled, so many in a commit; age of the checkpoint in scans after each commit."""
    recorder = make_recorder(header=make_header(scan_s=scan_s), every_scan=True)
    ages = []
    for scan in range(40):
        recorder.add(make_scan(scan))
        if scan % taken == taken - 1:
            recorder.commit()
            with Reader(path) as reader:
                checkpoint = reader.checkpoint()
            assert checkpoint is not None
            ages.append(scan - checkpoint.scan)
    assert max(ages) <= oldest
    assert ages.count(0) < len(ages) or taken > 1  # a state is some kilobytes: not with every scan


def test_a_line_of_the_journal_takes_the_state_along(path: Path, make_recorder: Make, make_scan: Make) -> None:
    """A commit that has a line has the state of its newest scan: what the journal tells, a restart knows."""
    recorder = make_recorder(every_scan=True)
    for scan in range(25):
        recorder.add(make_scan(scan, Event("trip", "T", "")) if scan in (3, 14, 22) else make_scan(scan))
        recorder.commit()
        with Reader(path) as reader:
            checkpoint, lines = reader.checkpoint(), reader.journal()
        assert checkpoint is not None
        assert checkpoint.scan >= max((line.scan for line in lines), default=0)


def test_thread_writes_what_inline_writes(path: Path, make_recorder: Make, make_scan: Make) -> None:
    threaded: ThreadedRecorder[Any] = ThreadedRecorder(make_recorder(every_scan=True))
    record(threaded, make_scan, 0, 200)
    threaded.end_cycle({}, 0)
    threaded.close()
    with Reader(path) as reader:
        assert words_of(reader) == [make_scan(scan).words for scan in range(200)]
        assert len(reader.journal(kind="state")) == 4
    assert verify(path) == []


def test_a_reader_of_nothing_and_of_something_else_says_so(tmp_path: Path, make_header: Make) -> None:
    with pytest.raises(StoreError, match="there is no record at"):
        Reader(tmp_path / "record.sqlite")
    other = tmp_path / "other.sqlite"
    other.write_bytes(b"something else, and long enough to be looked at" * 40)
    with pytest.raises(StoreError):
        Reader(other)
    with pytest.raises(StoreError, match=r"move other\.sqlite away"):
        Recorder(other, make_header(), began_ms=0)
    assert other.read_bytes().startswith(b"something else")


def test_a_cycle_can_be_sealed_after_its_recorder_is_closed(path: Path, make_recorder: Make, make_scan: Make) -> None:
    recorder = make_recorder()
    record(recorder, make_scan, 0, 100)
    recorder.close()
    seal_cycle(path, {"verdict": "pass"}, 7)
    with Reader(path) as reader:
        assert [(row.ended_ms, row.last_scan, row.summary) for row in reader.cycles()] == [(7, 99, {"verdict": "pass"})]
    assert verify(path) == []


def test_a_reader_cannot_write_and_leaves_one_file_behind(path: Path, make_recorder: Make, make_scan: Make) -> None:
    recorder = make_recorder()
    record(recorder, make_scan, 0, 60)
    recorder.close()
    with Reader(path) as reader:
        assert len(list(reader.frames())) == 60
        with pytest.raises(StoreError, match="readonly"):
            reader._all("DELETE FROM frames")
    assert [file.name for file in path.parent.iterdir()] == ["record.sqlite"]
