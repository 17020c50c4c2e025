"""What is overridden can be read from the record as soon as it is told."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from controller.core.frames import Event
from controller.core.hand.lock_out import Lock
from controller.core.hand.register import ByHand, Entry
from controller.store.checkpoint import StateCodec
from controller.store.header import Header
from controller.store.overridden import overridden
from controller.store.reader import Reader
from controller.store.recorder import Recorder, Scan


@dataclass(frozen=True, slots=True)
class State:
    by_hand: ByHand


def test_locks_and_entries_with_their_times_in_utc(tmp_path: Path) -> None:
    path = tmp_path / "record.sqlite"
    header = Header(tags=(), computed=(), input_words=1, output_words=1, scan_s=1.0)
    recorder = Recorder(path, header, StateCodec(State), began_ms=0, every_scan=True)
    with Reader(path) as reader:
        assert overridden(reader) == ()
        state = State(
            ByHand(
                (Entry("force", "TT-110", 20.0, 90.0, 150.0, "ana", "engineer", "trial"),),
                (Lock("ben", "maintenance", "belt", 40.0),),
            )
        )
        recorder.add(
            Scan(7, 1_000_000, 100.0, b"\0" * 6, (), (), (), state, events=(Event("by-hand", "TT-110", "forced"),))
        )
        recorder.commit()
        lock, entry = overridden(reader)
    assert (lock.kind, lock.who, lock.since_ms, lock.until_ms) == ("lock-out", "ben", 940_000, None)
    assert (entry.kind, entry.tag, entry.value, entry.reason) == ("force", "TT-110", 20.0, "trial")
    assert (entry.since_ms, entry.until_ms) == (990_000, 1_050_000)
    recorder.close()
