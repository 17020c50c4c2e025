"""Procedural states and what each command does in each of them: one table, nothing else decides.

States and commands are the example of ANSI/ISA-88.00.01 (IEC 61512-1), section "modes and states"; the standard
leaves the table to the project, and this is ours. Our choices where it is open: Hold is taken while pausing and
while paused; Abort is taken in stopped; nothing is taken in aborting; Pause stops the clock at the end of the scan,
because every scan of a chamber is a point where it may wait. Screens say "clock stopped" for held.
"""

from __future__ import annotations

STATES: tuple[str, ...] = (
    "idle", "running", "pausing", "paused", "holding", "held", "restarting", "stopping", "stopped", "aborting",
    "aborted", "complete",
)
COMMANDS: tuple[str, ...] = ("start", "pause", "resume", "hold", "restart", "stop", "abort", "reset")

# state -> command -> next state; what is not here is refused
TABLE: dict[str, dict[str, str]] = {
    "idle": {"start": "running"},
    "running": {"pause": "pausing", "hold": "holding", "stop": "stopping", "abort": "aborting"},
    "pausing": {"hold": "holding", "stop": "stopping", "abort": "aborting"},
    "paused": {"resume": "running", "hold": "holding", "stop": "stopping", "abort": "aborting"},
    "holding": {"stop": "stopping", "abort": "aborting"},
    "held": {"restart": "restarting", "stop": "stopping", "abort": "aborting"},
    "restarting": {"hold": "holding", "stop": "stopping", "abort": "aborting"},
    "stopping": {"abort": "aborting"},
    "stopped": {"abort": "aborting", "reset": "idle"},
    "aborting": {},
    "aborted": {"reset": "idle"},
    "complete": {"reset": "idle"},
}
# an active state's own work is done
DONE: dict[str, str] = {
    "running": "complete", "pausing": "paused", "holding": "held", "restarting": "running", "stopping": "stopped",
    "aborting": "aborted",
}
# a protection asks for the clock to stop, or for the fastest safe end; other states stay as they are
ON_HOLD: dict[str, str] = {
    "running": "holding", "pausing": "holding", "paused": "holding", "restarting": "holding",
}
ON_ABORT: dict[str, str] = {
    "running": "aborting", "pausing": "aborting", "paused": "aborting", "holding": "aborting", "held": "aborting",
    "restarting": "aborting", "stopping": "aborting",
}

CONTROLLED = frozenset(("running", "pausing", "paused", "holding", "held", "restarting"))  # temperature and RH kept
AT_REST = frozenset(("idle", "stopped", "aborted", "complete"))  # no cycle in progress

EDGES: frozenset[tuple[str, str]] = frozenset(
    (state, after)
    for table in (
        [(state, after) for state, row in TABLE.items() for after in row.values()],
        list(DONE.items()), list(ON_HOLD.items()), list(ON_ABORT.items()),
    )
    for state, after in table
)

_NEEDS: dict[str, str] = {
    "start": "the chamber must be idle: reset it after a finished or stopped cycle",
    "pause": "only a running cycle can pause",
    "resume": "only a paused cycle can resume; after a stopped clock use restart",
    "hold": "the clock can be stopped only while a cycle runs, pauses or restarts",
    "restart": "only a cycle whose clock is stopped can restart",
    "stop": "there is no cycle to stop, or it is already ending",
    "abort": "there is no cycle to abort, or it is already aborting",
    "reset": "only a stopped, aborted or complete cycle can be reset",
}


def after_command(state: str, command: str) -> str | None:
    """The next state, or None when the command is refused in this state."""
    return TABLE[state].get(command)


def refusal(state: str, command: str) -> str:
    """Why a command is refused in a state, for the journal and the person who gave it."""
    return f"refused while {state}: {_NEEDS[command]}"
