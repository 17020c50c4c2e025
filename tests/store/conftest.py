"""A small record: three analog inputs, two computed columns, 60 scans a minute."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from struct import Struct
from typing import Any

import pytest

from controller.core.frames import Event
from controller.store.checkpoint import StateCodec
from controller.store.header import Header
from controller.store.recorder import Recorder, Scan

WORDS = Struct(">H4H2H")


@dataclass(frozen=True, slots=True)
class State:
    scans: int


def header_with(**changes: Any) -> Header:
    parts: dict[str, Any] = {
        "tags": ("TT-1", "TT-2", "MT-1"),
        "computed": (("TY-1", "mean", "degC"), ("MY-1", "dew point", "degC")),
        "input_words": 4,
        "output_words": 2,
        "scan_s": 1.0,
        "texts": {"recipe": "name = 'gentle'\n"},
        "facts": {"seed": 1},
    }
    return Header(**(parts | changes))


def scan_number(scan: int, *events: Event, **changes: Any) -> Scan:
    """Every field follows from the number, so that a reader can be checked without keeping what was written."""
    words = WORDS.pack(0, scan % 65536, 7 * scan % 65536, 65535, 0, scan * scan % 65536, 3)
    values = (20.0 + 0.01 * scan, 21.0, 90.0 - scan % 5)
    made = Scan(scan, 1000 * scan, float(scan), words, values, (0, 0, 0), (20.5, float(scan)), State(scan), (), events)
    return made._replace(**changes)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "out" / "record.sqlite"


@pytest.fixture
def make_recorder(path: Path) -> Iterator[Callable[..., Recorder[State]]]:
    """Recorders that are closed at the end, unless a test closed them."""
    with ExitStack() as stack:

        def make(*, killed: bool = False, **changes: Any) -> Recorder[State]:
            header = changes.pop("header", header_with())
            recorder = Recorder(path, header, StateCodec(State), began_ms=0, **changes)
            stack.callback(recorder._writer.close if killed else recorder.close)  # what a kill leaves unwritten
            return recorder

        yield make


@pytest.fixture
def make_header() -> Callable[..., Header]:
    return header_with


@pytest.fixture
def make_scan() -> Callable[..., Scan]:
    return scan_number
