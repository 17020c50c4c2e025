"""Summaries of cycles that were ended without one, for a controller that goes on: a process of its own, so that no scan
waits for it.

    python -m controller.report.sumup RECORD [WAIT_S]    prints a line of JSON a cycle: {"cycle": n, "summary": {...}}

It only reads. WAIT_S: how long to wait for such a cycle when there is none yet.
"""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path

from controller.errors import DewholdError
from controller.report.atstart import forecast_at_start
from controller.report.recorded import opened
from controller.store.reader import Reader

NICE = 10  # control goes first
_LOOK_S = 0.5


def due(record: Path) -> list[int]:
    """Cycles in which something was started, that are over and have no summary. Raises StoreError."""
    with Reader(record) as reader:
        ran = reader.ran()
        over = [row.cycle for row in reader.cycles() if row.ended_ms is not None and not row.summary]
        return [cycle for cycle in over if cycle in ran]


def main(record: Path, wait_s: float = 0.0) -> int:
    """Print each; 0, or 1 when one could not be made (said on the standard error)."""
    until_s, failed = time.monotonic() + wait_s, 0
    while not (found := due(record)) and time.monotonic() < until_s:
        time.sleep(_LOOK_S)
    for cycle in found:
        try:
            with opened(record, cycle, ahead=forecast_at_start) as recorded:
                sys.stdout.write(json.dumps({"cycle": cycle, "summary": recorded.summary}, allow_nan=False) + "\n")
        except (DewholdError, ValueError, KeyError, ArithmeticError) as error:
            sys.stderr.write(f"cycle {cycle}: {error}\n")
            failed = 1
    return failed


if __name__ == "__main__":
    os.nice(NICE)
    sys.exit(main(Path(sys.argv[1]), float(sys.argv[2]) if len(sys.argv) > 2 else 0.0))
