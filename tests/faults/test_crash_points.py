"""A seeded sample of `sh tools/crash-points`, and that its judge sees what it is there to see."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from controller.store.header import Header
from controller.store.recorder import Recorder
from crashpoints import tracing
from crashpoints.attempt import RECORD, Seen, Theatre
from crashpoints.judge import look, lost, went_on, whole
from crashpoints.points import every, points, sample
from crashpoints.results import Result
from crashpoints.resumed import Found
from crashpoints.scenes import scenes
from crashpoints.stage import stage
from crashpoints.tracing import Call, Inject, Way
from crashpoints.trial import Choice, trial

WHY_NOT = tracing.unavailable()
can_trace = pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "it can")
SEED = 5


@pytest.fixture
def theatre(tmp_path: Path) -> Iterator[Theatre]:
    with stage(tmp_path) as ground:
        made = Theatre(ground, tmp_path)
        yield made
        made.close()


def tried(theatre: Theatre, sizes: dict[str, int], ways: tuple[Way, ...]) -> list[Result]:
    found = []
    for scene in scenes(theatre, list(sizes), short_log=True):
        for way in ways:
            result = trial(theatre, scene, way, Choice(sizes[scene.name], SEED))
            assert result is not None
            found.append(result)
    return found


@can_trace
def test_a_controller_killed_at_any_write_loses_nothing_that_was_seen_and_the_next_one_goes_on(
    theatre: Theatre,
) -> None:
    results = tried(theatre, {"first": 3, "start": 3, "window": 5, "end": 2}, ("kill",))
    assert [result.failures for result in results] == [[]] * 4
    assert sum(result.struck for result in results) >= 10
    assert results[2].acknowledged > 0


@can_trace
def test_a_disk_that_refuses_at_any_write_never_stops_control_and_is_told_and_got_over(theatre: Theatre) -> None:
    results = tried(theatre, {"window": 3}, ("full", "error", "readonly", "short"))
    assert [result.failures for result in results] == [[]] * 4
    assert sum(result.struck for result in results) >= 8
    assert results[3].told == results[3].struck  # a write that was cut short is never got over without a word


def test_each_call_of_the_main_thread_and_of_the_recorder_is_one_try() -> None:
    """strace counts by thread and kind; a thread that only prints is left out."""
    names = [(1, "fsync"), (1, "pwrite64"), (3, "write"), *[(2, "pwrite64")] * 2, (1, "pwrite64"), (2, "fdatasync")]
    counts: dict[tuple[int, str], int] = {}
    calls = []
    for thread, name in names:
        counts[thread, name] = counts.get((thread, name), 0) + 1
        calls.append(Call(thread, name, counts[thread, name], ""))
    found = points(calls, "kill", Path("out"))
    assert [(one.thread, one.name, one.nth) for one in found] == [
        ("main", "fsync", 1), ("main", "pwrite64", 1), ("recorder", "pwrite64", 1), ("recorder", "pwrite64", 2),
        ("main", "pwrite64", 2), ("recorder", "fdatasync", 1),
    ]  # fmt: skip
    assert len(sample(found, 2, "1")) == 2
    assert sample(found, None, "1") == found


def test_every_so_manieth_call_of_each_kind_and_thread_has_its_first_and_its_last() -> None:
    tries = [Inject("kill", "pwrite64", nth, "main") for nth in range(1, 13)]
    tries += [Inject("kill", "fsync", nth, "recorder") for nth in range(1, 4)]
    assert [(one.name, one.nth) for one in every(tries, 5)] == [
        ("pwrite64", 1), ("pwrite64", 6), ("pwrite64", 11), ("pwrite64", 12), ("fsync", 1), ("fsync", 3)
    ]  # fmt: skip
    assert every(tries, 1) == tries
    assert Choice(None, 1, "recorder", every=2).of(tries, "x") == ([tries[12], tries[14]], 3)
    assert Choice(None, 1, kinds=("fsync",)).of(tries, "x") == (tries[12:], 3)


def written(thread: int, nth: int, name: str, size: int, offset: int) -> Call:
    return Call(thread, "pwrite64", nth, f'3</out/{name}>, "..."..., {size}, {offset}) = {size}')


def test_a_write_is_cut_in_its_middle_where_it_makes_the_file_larger() -> None:
    log = "record.sqlite-wal"
    calls = [
        written(1, nth + 1, log, size, offset)
        for nth, (size, offset) in enumerate([(32, 0), (24, 16000), (16384, 16024), (24, 16000)])
    ]
    found = points(calls, "short", Path("out"))
    assert [(one.nth, one.limit, one.file) for one in found] == [(2, 16012, log), (3, 24216, log)]
    assert [one.nth for one in points(calls, "short", Path("out"), {log: 16024, "record.sqlite": 99999})] == [3]


def test_a_log_that_was_removed_grows_from_nothing_and_each_thread_has_its_own_limit() -> None:
    """Main folds a long log back and removes it; what the recorder then writes into a new one is below its length."""
    log = "record.sqlite-wal"
    calls = [
        Call(1, "unlink", 1, f'"/out/{log}") = 0'), written(1, 1, log, 4000, 9000), written(2, 1, log, 4000, 13000),
        Call(2, "fdatasync", 1, f"3</out/{log}>) = 0"), written(2, 2, log, 4000, 13000),
    ]  # fmt: skip
    found = points(calls, "short", Path("out"), {log: 900000})
    assert [(one.thread, one.nth, one.limit) for one in found] == [("main", 1, 11000), ("recorder", 1, 15000)]
    kept = points(calls[1:], "short", Path("out"), {log: 900000})
    assert kept == []


@pytest.fixture
def out(tmp_path: Path) -> Path:
    header = Header(tags=("T",), computed=(), input_words=1, output_words=1, scan_s=1.0)
    Recorder(tmp_path / "out" / RECORD, header, began_ms=0).close()
    return tmp_path / "out"


def found_in(**changes: object) -> Found:
    return replace(Found(), **changes)  # type: ignore[arg-type]


def test_the_judge_misses_what_a_reader_saw_and_is_gone_or_another() -> None:
    seen = Seen(lines={1: "AA", 2: "BB"}, scan=7)
    assert lost(seen, found_in(lines={1: "AA", 2: "BB"}, scans=[6, 7])) == []
    assert lost(seen, found_in(lines={2: "BB"}, scans=[7])) == ["journal lines [1] were seen and are gone or changed"]
    assert lost(seen, found_in(lines={1: "AA", 2: "CC"}, scans=[6])) == [
        "journal lines [2] were seen and are gone or changed", "scan 7 was seen and is gone"
    ]  # fmt: skip
    assert lost(seen, None)


def test_the_judge_names_orders_without_one_outcome_and_missing_scans() -> None:
    killed, second = Seen(asked=["a", "b"]), Seen(status=1)
    after = found_in(outcomes={"a": 2}, scans=[0, 2])
    assert went_on(None, killed, after, second) == [
        "scans are missing in the record", "orders with two outcomes: ['a']", "orders without an outcome: ['b']"
    ]  # fmt: skip
    assert went_on(None, killed, None, second) == ["the next controller left no record"]
    assert "ended with 3: no" in went_on(None, killed, after, Seen(status=3, said="no"))[0]


def test_the_judge_sees_damage_in_a_file(out: Path, tmp_path: Path) -> None:
    assert whole(out, tmp_path / "aside") == []
    assert look(out) is not None
    with closing(sqlite3.connect(out / RECORD)) as db:
        db.execute("UPDATE cycles SET header = replace(header, '1.0', '2.0')")
        db.commit()
    assert any("its header or its place was changed" in text for text in whole(out, tmp_path / "aside"))


def test_what_strace_is_told() -> None:
    assert Inject("full", "fsync", 4, "recorder").words() == [
        "-e", "trace=fsync", "-e", "inject=fsync:error=ENOSPC:when=4..6"
    ]  # fmt: skip
    assert Inject("kill", "write", 2, "main").words()[-1] == "inject=write:signal=KILL:when=2"
    assert Inject("readonly", "unlink", 1, "main").words()[-1] == "inject=unlink:error=EROFS:when=1..3"
