"""Under `--stay` a cycle's record ends with the cycle: the next scan begins another, and a process of its own sums up
what is over. The summary comes back to the one who writes the record, and belongs to it from then on."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

import structlog

from controller.core.orders.procedure import AT_REST
from controller.core.scan import ScanResult
from controller.runtime.loop import Start
from controller.store.header import Header
from controller.store.reader import Reader

WAIT_S = 600.0  # of that process for the end of the cycle to be in the record


class Sums(Protocol):
    """Whoever writes the record."""

    def sum_up(self, cycle: int, summary: dict[str, Any]) -> None:
        """Put its summary to a cycle that is over."""
        ...


class Sealing:
    """Looks at the state after each scan. header(): of the cycle to come; begin(header): begins it with the next."""

    def __init__(
        self, record: Path, sums: Sums, header: Callable[[], Header], begin: Callable[[Header], None]
    ) -> None:
        self._record, self._sums, self._header, self._begin = record, sums, header, begin
        self._running = False
        self._child: subprocess.Popen[str] | None = None
        self._lock = threading.Lock()

    def resume(self, start: Start) -> None:
        """Before the first scan: end what the controller before this one left, and sum up what it had no time for."""
        state = start.state.sequence.state
        self._running = state not in AT_REST
        if not self._record.is_file():
            return
        with Reader(self._record) as reader:
            started = reader.ran()
            ran = [row for row in reader.cycles() if row.cycle in started]
            left = not self._running and any(row.ended_ms is None for row in ran)
            late = [row for row in ran if row.ended_ms is not None and not row.summary]
        if left:
            self._begin(self._header())
        if left or late:
            self._start()

    def after(self, result: ScanResult) -> None:
        """After each scan: when a cycle has come to rest, its record ends."""
        running = result.state.sequence.state not in AT_REST
        if self._running and not running:
            self._begin(self._header())
            self._start()
        self._running = running

    def close(self) -> None:
        """End what still sums up; the next controller does it again."""
        with self._lock:
            if self._child is not None:
                self._child.kill()

    def _start(self) -> None:
        threading.Thread(target=self._work, name="sealing", daemon=True).start()

    def _work(self) -> None:
        command = [sys.executable, "-m", "controller.report.sumup", str(self._record), f"{WAIT_S:g}"]
        with self._lock:
            self._child = child = subprocess.Popen(
                command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
            )
        out, said = child.communicate()
        for line in out.splitlines():
            found = json.loads(line)
            self._sums.sum_up(found["cycle"], found["summary"])
        if said.strip():
            structlog.get_logger().warning("a cycle has no summary yet", why=said.strip().splitlines()[-1])
