"""Ending a cycle after its recorder is closed: the summary is made from the record, and then belongs to it."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

from controller.store.reader import Reader
from controller.store.recorder import Recorder


def seal_cycle(path: Path, summary: Mapping[str, Any], utc_ms: int) -> None:
    """Write summary and seal of the newest cycle. Raises StoreError when that is not possible."""
    with Reader(path) as reader:
        newest = reader.cycles()[-1]
    recorder: Recorder[Any] = Recorder(path, newest.header, began_ms=newest.began_ms)
    with closing(recorder):
        recorder.end_cycle(summary, utc_ms)
