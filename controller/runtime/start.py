"""Where a run begins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from controller.core.frames import Command, Event


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """Where a run begins: fresh, or after an outage.

    commands, events: applied and journaled in the first scan (a restart holds the sequence there).
    later: (scan, command) of what is applied after that.
    skipped_scans: added to the first heartbeat, so that a lockstep device lives through an outage.
    """

    state: Any
    scan: int = 0
    now_s: float = 0.0
    commands: tuple[Command, ...] = ()
    later: tuple[tuple[int, Command], ...] = ()
    events: tuple[Event, ...] = ()
    skipped_scans: int = 0
