"""The same seed gives the same trace: twice, over both links, in any process. One flipped bit gives another."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from controller.link.faulty import Fault, FaultyLink
from controller.rig import cycle
from controller.rig.cycle import Options
from controller.rig.plant import scene

HOURS = 0.5


@pytest.fixture
def trace_of(tmp_path: Path) -> Callable[..., str]:
    """Trace of half an hour of the demo cycle with strict invariants."""

    def run(link: str, seed: int = 1, **scenery: Any) -> str:
        options = Options(
            scene=scene(seed=seed, **scenery), link=link, start=datetime(2026, 3, 2, tzinfo=UTC), hours_max=HOURS,
            out=tmp_path, strict=True,
        )
        ran = cycle.run(options, lambda _fraction, _note: None)
        assert ran.report.scans == 1800
        assert ran.report.state.sequence.state == "running"
        return ran.report.trace_sha256

    return run


def test_same_seed_same_trace_over_both_links(trace_of: Callable[..., str]) -> None:
    direct = trace_of("direct")
    assert trace_of("direct") == direct
    assert trace_of("modbus") == direct
    assert trace_of("modbus") == direct
    assert trace_of("direct", seed=2) != direct
    assert trace_of("direct", outdoor=[(8.0, 81.0)]) != direct


@pytest.mark.parametrize(("word", "bit"), [(8, 0), (37, 3), (46, 12)], ids=["an air probe", "outdoors", "a contact"])
def test_one_flipped_bit_changes_the_trace(
    trace_of: Callable[..., str], monkeypatch: pytest.MonkeyPatch, word: int, bit: int
) -> None:
    """The least bit of one word of one frame out of 1800 is enough, as words are hashed, not what is made of them."""
    clean = trace_of("direct")
    direct = cycle.DirectLink
    fault = {1700: Fault(kind="bit-flip", word=word, bit=bit)}
    monkeypatch.setattr(cycle, "DirectLink", lambda device: FaultyLink(direct(device), fault))
    flipped = trace_of("direct")
    assert flipped != clean
    assert trace_of("direct") == flipped  # and it repeats


def test_hash_seed_of_the_process_changes_nothing(processes: Any) -> None:
    """Two processes with unlike orders of sets and of dictionary collisions."""
    commands = [
        processes.start(
            "cycle", "--link", link, "--outdoor", "8/80", "--hours", "0.4", "--json", "--out", f"out{seed}",
            environment={"PYTHONHASHSEED": seed},
        )
        for seed, link in (("1", "direct"), ("4242", "modbus"))
    ]
    summaries = [json.loads(process.communicate(timeout=180)[0]) for process in commands]
    assert [process.returncode for process in commands] == [1, 1]  # too short to be good
    assert summaries[0]["trace_sha256"] == summaries[1]["trace_sha256"]
    assert summaries[0]["scans"] == 1440
    assert [summary["invariants_broken"] for summary in summaries] == [0, 0]
