"""Tells people at the terminal what a run does. Whoever reads may be slow or gone: control never waits for them."""

from __future__ import annotations

import sys
import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from queue import Full, Queue

import structlog

from controller.core.frames import Event
from controller.core.scan import ScanResult
from controller.runtime.loop import Sink
from controller.store.recorder import Scan

LINES_MAX = 1000  # more than this waiting are left out: they stand in the journal
STATUS_EVERY_S = 10.0
LOUD = frozenset(("trip", "alarm", "invariant", "link"))


class Teller:
    """A Sink before the recorder: passes every scan on, and its journal lines to a thread that prints them.

    terminal: also a status line now and then; None = when standard error is one.
    """

    def __init__(self, recorder: Sink, *, terminal: bool | None = None) -> None:
        self._recorder = recorder
        self.notices: deque[Event] = recorder.notices
        self._lines: Queue[Callable[[], None] | None] = Queue(LINES_MAX)
        self._terminal = sys.stderr.isatty() if terminal is None else terminal
        self._status_due = time.monotonic()
        self._thread = threading.Thread(target=self._print, name="teller", daemon=True)
        self._thread.start()

    def add(self, row: Scan) -> None:
        """Pass one scan on and tell its events."""
        self._recorder.add(row)
        for event in row.events:
            self._tell(lambda event=event: _log(event))  # type: ignore[misc]

    def status(self, _scan: int, result: ScanResult) -> None:
        """Called after every scan; a line now and then."""
        if self._terminal and time.monotonic() >= self._status_due:
            self._status_due = time.monotonic() + STATUS_EVERY_S
            self._tell(lambda: print(status_line(result), file=sys.stderr, flush=True))

    def close(self) -> None:
        """Print what waits, for a moment at most."""
        with suppress(Full):
            self._lines.put_nowait(None)
        self._thread.join(2.0)

    def _tell(self, line: Callable[[], None]) -> None:
        with suppress(Full):
            self._lines.put_nowait(line)

    def _print(self) -> None:
        while (line := self._lines.get()) is not None:
            with suppress(OSError, ValueError, MemoryError):  # the reader went away; the journal has it
                line()


def status_line(result: ScanResult) -> str:
    """One scan in a line."""
    sequence, air, demands = result.state.sequence, result.climate, result.demands
    state = "clock stopped" if sequence.state == "held" else sequence.state
    words = [
        f"{sequence.cycle_s / 3600.0:5.2f} h {state}",
        f"air {air.temperature_degC:.1f} degC {air.rh_pct:.1f} %RH",
        f"dew margin {air.dew_margin_K:.2f} K ({air.surface})",
        f"heat {demands.heat_kW:.0f} kW, fog {demands.fog_kg_per_h:.0f} kg/h, vent {demands.vent_kg_per_s:.2f} kg/s",
    ]
    if result.verdict.trips:
        words.append(f"TRIPPED: {', '.join(result.verdict.trips)}")
    return "; ".join(words)


def _log(event: Event) -> None:
    log = structlog.get_logger()
    data = dict(event.data)
    loud = (event.kind in LOUD and data.get("what") != "goes") or data.get("outcome") == "refused"
    extra = {name: data[name] for name in ("priority", "action") if name in data and loud}
    (log.warning if loud else log.info)(
        event.text, kind=event.kind, **({"tag": event.tag} if event.tag else {}), **extra
    )
