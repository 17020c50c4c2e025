"""A disk that refuses never stops control: it is told once, kept in memory, written when it can be."""

from __future__ import annotations

import resource
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from controller.core.frames import Event
from controller.errors import StoreError
from controller.store import recorder as recorder_module
from controller.store.reader import Reader
from controller.store.recorder import Recorder
from controller.store.threaded import ThreadedRecorder
from controller.store.verify import verify
from controller.store.writer import Writer

Make = Callable[..., Any]
EVENT = Event("state", "", "running")


@contextmanager
def no_file_may_grow() -> Iterator[None]:
    """The kernel refuses every write beyond the first 4 KiB of a file, as a disk that is full refuses it."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def minutes(recorder: Any, make_scan: Make, first: int, last: int) -> None:
    for scan in range(60 * first, 60 * last):
        recorder.add(make_scan(scan, EVENT) if scan % 60 == 7 else make_scan(scan))


def test_refused_writes_wait_in_memory_and_nothing_is_lost(path: Path, make_recorder: Make, make_scan: Make) -> None:
    recorder = make_recorder(group_minutes=1)
    minutes(recorder, make_scan, 0, 2)
    with no_file_may_grow():
        minutes(recorder, make_scan, 2, 6)
        assert recorder.trouble
    assert recorder.refused == 4
    assert recorder.last_id == 2
    minutes(recorder, make_scan, 6, 7)
    assert not recorder.trouble
    recorder.close()
    with Reader(path) as reader:
        assert [row.scan for row in reader.frames()] == list(range(420))
        assert [line.id for line in reader.journal()] == list(range(1, 10))  # two of the disk
    assert verify(path) == []


def test_trouble_and_recovery_are_told_once_with_what_to_do(make_recorder: Make, make_scan: Make) -> None:
    recorder = make_recorder(group_minutes=1)
    with no_file_may_grow():
        minutes(recorder, make_scan, 0, 5)
    minutes(recorder, make_scan, 5, 6)
    texts = [event.text for event in recorder.notices]
    assert len(texts) == 2
    assert "control goes on" in texts[0]
    assert "check the disk" in texts[0]
    assert "written again after 5 refused writes; 0 scans and 0 journal lines were lost" in texts[1]


@pytest.mark.parametrize("every_scan", [False, True])
def test_a_disk_that_takes_again_only_at_the_end_is_told_of_in_the_journal_all_the_same(
    path: Path, make_recorder: Make, make_scan: Make, every_scan: bool
) -> None:
    """No scan follows that could take the line along; the runtime had taken the one of the refusal itself."""
    recorder = make_recorder(group_minutes=1, every_scan=every_scan)
    minutes(recorder, make_scan, 0, 1)
    with no_file_may_grow():
        minutes(recorder, make_scan, 1, 2)
        recorder.commit()
    recorder.add(make_scan(120, recorder.notices.popleft()))
    recorder.close()
    with Reader(path) as reader:
        told = [(row.scan, row.data["active"]) for row in reader.journal() if row.tag == "RECORD"]
    assert told == [(120, True), (120, False)]
    assert not recorder.notices
    assert verify(path) == []


def test_what_waits_is_bounded_and_the_oldest_frames_go_first(
    path: Path, make_recorder: Make, make_scan: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recorder_module, "BLOCKS_WAITING_MAX", 3)
    recorder = make_recorder(group_minutes=1)
    with no_file_may_grow():
        minutes(recorder, make_scan, 0, 5)
    minutes(recorder, make_scan, 5, 6)
    assert recorder.scans_lost == 180
    recorder.close()
    with Reader(path) as reader:
        assert [row.scan for row in reader.frames()] == list(range(180, 360))
        assert len(reader.journal(kind="state")) == 6
    assert verify(path) == []


def test_closing_an_incomplete_record_says_what_is_missing(tmp_path: Path, make_header: Make, make_scan: Make) -> None:
    recorder: Recorder[Any] = Recorder(tmp_path / "record.sqlite", make_header(), began_ms=0)
    minutes(recorder, make_scan, 0, 1)
    missing = r"not complete: 1 minutes and 1 journal lines.*check the disk"
    with no_file_may_grow(), pytest.raises(StoreError, match=missing):
        recorder.close()


def test_a_folder_that_cannot_be_made_is_refused_at_once(tmp_path: Path, make_header: Make) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match="cannot be written"):
        Recorder(tmp_path / "file" / "record.sqlite", make_header(), began_ms=0)


def test_a_record_that_vanishes_is_begun_again_and_its_ids_go_on(
    path: Path, make_recorder: Make, make_scan: Make
) -> None:
    """Somebody removes the files under a running controller, then the disk refuses once, so it opens the path again."""
    recorder = make_recorder(group_minutes=1)
    minutes(recorder, make_scan, 0, 1)
    for name in path.parent.iterdir():
        name.unlink()
    with no_file_may_grow():
        minutes(recorder, make_scan, 1, 2)
    minutes(recorder, make_scan, 2, 3)
    recorder.close()
    with Reader(path) as reader:
        assert [line.id for line in reader.journal(kind="state")][-1] == 3
    assert verify(path) == []


def test_memory_that_is_short_for_a_while_is_a_refusal_like_any_other(
    path: Path, make_recorder: Make, make_scan: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite says MemoryError in the middle of a transaction: taken back, kept, told with its remedy, tried again."""
    recorder = make_recorder(group_minutes=1)
    minutes(recorder, make_scan, 0, 1)
    put = Writer._put_rest

    def short(_writer: Writer, _db: Any, _batch: Any) -> None:
        raise MemoryError

    monkeypatch.setattr(Writer, "_put_rest", short)
    minutes(recorder, make_scan, 1, 2)
    assert recorder.trouble
    assert "(MemoryError()); control goes on" in recorder.notices[0].text
    assert "give it more memory" in recorder.notices[0].text
    monkeypatch.setattr(Writer, "_put_rest", put)
    minutes(recorder, make_scan, 2, 3)
    assert not recorder.trouble
    recorder.close()
    with Reader(path) as reader:
        assert [row.scan for row in reader.frames()] == list(range(180))
    assert verify(path) == []


def test_a_hanging_disk_never_delays_a_scan_and_loses_no_order(
    path: Path, make_recorder: Make, make_scan: Make
) -> None:
    """The thread is stopped inside a commit; the queue holds 5 scans; what comes then is counted, its events kept."""
    recorder = make_recorder(every_scan=True)
    hangs, gate, commit = threading.Event(), threading.Event(), recorder.commit

    def hang() -> bool:
        hangs.set()
        assert gate.wait(10.0)
        return bool(commit())

    recorder.commit = hang
    threaded: ThreadedRecorder[Any] = ThreadedRecorder(recorder, queue_max=5)
    threaded.add(make_scan(0))
    assert hangs.wait(10.0)
    for scan in range(1, 10):
        threaded.add(make_scan(scan, EVENT))
    assert threaded.scans_lost == 4
    assert threaded.trouble
    assert "lost to the record" in threaded.notices[0].text
    gate.set()
    threaded.drain(10.0)
    threaded.add(make_scan(10))
    assert [dict(event.data)["active"] for event in threaded.notices] == [True, False]
    assert "keeps up again; 4 scans were lost" in threaded.notices[1].text
    threaded.close()
    with Reader(path) as reader:
        assert [row.scan for row in reader.frames()] == [0, 1, 2, 3, 4, 5, 10]
        assert len(reader.journal(kind="state")) == 9
    assert verify(path) == []


def test_control_outlives_a_recorder_that_dies(make_recorder: Make, make_scan: Make) -> None:
    recorder = make_recorder(every_scan=True)

    def dies() -> bool:
        raise RuntimeError("a bug")

    recorder.commit = dies
    threaded: ThreadedRecorder[Any] = ThreadedRecorder(recorder)
    threaded.add(make_scan(0))
    with pytest.raises(StoreError, match="a bug"):
        threaded.close()
    threaded.add(make_scan(1))
    assert threaded.trouble
    del recorder.commit
