"""Conditions that take turns beside one controller, so that whatever else this computer does strikes them all alike.

A round is: nothing beside control; the page looked on and asked by a crowd; the page frozen under that crowd; the page
killed under it. Rounds follow each other until every condition has had its scans.
"""

from __future__ import annotations

import json
import os
import select
import signal
import statistics
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic

CONDITIONS = ("base", "flooded", "frozen", "killed")
SETTLE_S = 2.0  # after each change: starting a program and ending one is no condition of its own
ROOT = Path(__file__).parents[2]


@dataclass
class Figures:
    """What one condition came to. late_ms: of its scans; missed: deadlines."""

    late_ms: list[float] = field(default_factory=list)
    missed: int = 0

    @property
    def p99_ms(self) -> float:
        """The lateness that one scan in a hundred exceeds."""
        return statistics.quantiles(self.late_ms, n=100)[98]


class Turns:
    """Takes turns until each condition has had `scans` scans of `scan_s`, in windows of `window_s`.

    page(): starts the page and returns (process, port, token); crowd(port, token): starts the viewers.
    """

    def __init__(
        self, scans: int, scan_s: float, window_s: float,
        page: Callable[[], tuple[subprocess.Popen[str], int, str]],
        crowd: Callable[[int, str], subprocess.Popen[str]],
    ) -> None:  # fmt: skip
        self._window_s, self._page, self._crowd = window_s, page, crowd
        self._rounds = max(1, -(-round(scans * scan_s) // round(window_s)))
        self.windows: list[tuple[str, float, float]] = []

    def take(self) -> None:
        """All rounds, one after the other."""
        for _round in range(self._rounds):
            self._stand("base")
            page, port, token = self._page()
            crowd = self._crowd(port, token)
            try:
                self._stand("flooded")
                page.send_signal(signal.SIGSTOP)
                self._stand("frozen")
                page.send_signal(signal.SIGCONT)
                page.kill()
                page.wait()
                self._stand("killed")
            finally:
                for process in (page, crowd):
                    process.kill()
                    process.wait()

    def _stand(self, what: str) -> None:
        wait(SETTLE_S)
        begun = monotonic()
        wait(self._window_s)
        self.windows.append((what, begun, monotonic()))

    def figures(self, printed: str) -> dict[str, Figures]:
        """Each condition's scans out of what `tests.bench.lateness` printed."""
        found = json.loads(printed.splitlines()[-1])
        figures = {what: Figures() for what in CONDITIONS}
        rows = list(zip(found["at_s"], found["late_ms"], found["missed"], strict=True))
        for what, begun, ended in self.windows:
            inside = [row for row in rows if begun <= row[0] < ended]
            figures[what].late_ms += [late for _at, late, _missed in inside]
            figures[what].missed += inside[-1][2] - inside[0][2] if inside else 0
        return figures


def wait(seconds: float) -> None:
    """Let time pass."""
    select.select([], [], [], seconds)


def control(port: int, folder: Path, scans: int, scan_s: float) -> subprocess.Popen[str]:
    """A controller of its own record; touch `end` in the folder to end it."""
    return subprocess.Popen(
        [sys.executable, "-m", "tests.bench.lateness", str(port), str(folder), str(scans), str(scan_s)], cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)}, stdout=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
