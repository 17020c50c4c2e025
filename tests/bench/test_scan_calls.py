"""How much a quiet scan does, counted rather than timed: calls of Python functions, the same on any machine.

What is switched off must not bring one. What adds calls to every scan on purpose raises the bound here, and says so.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType

from controller.core.scan import ScanResult
from controller.rig import cycle
from controller.rig.cycle import Options
from controller.rig.plant import Plant, scene

SCANS = 600  # ten minutes, so that what is done every ten seconds and every minute is in it
FROM = 900
CALLS_MOST = 140.0  # a scan; 112 when this was written, with chamber, link and recorder


def test_a_quiet_scan_calls_no_more_than_it_did(tmp_path: Path) -> None:
    calls, seen = 0, 0

    def count(_frame: FrameType, event: str, _argument: object) -> None:
        nonlocal calls
        calls += event == "call"

    def look(_plant: Plant, result: ScanResult) -> None:
        nonlocal seen
        seen += 1
        if seen == FROM:
            sys.setprofile(count)
        elif seen == FROM + SCANS:
            sys.setprofile(None)
        assert not result.broken

    options = Options(
        scene=scene(), link="direct", start=datetime(2026, 3, 2, tzinfo=UTC), hours_max=0.5, out=tmp_path, strict=True
    )
    before = sys.getprofile()
    try:
        cycle.run(options, lambda _fraction, _note: None, look)
    finally:
        sys.setprofile(before)
    assert 0.5 * CALLS_MOST < calls / SCANS <= CALLS_MOST
