"""The one dispatch of commands: where orders come from, which are taken, and exactly one outcome for each.

An outcome is an event of kind "command" whose data has id, verb, who, outcome ("done" or "refused") and reason. An id
that has had its outcome is dropped and counted, so a command sent twice happens once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from controller.core.frames import Command, Event
from controller.core.orders.verbs import NOT_WHILE_LOCKED, RESUMING, RUNTIME, SAFE, TROUBLE, VERBS

MEMORY = 256  # ids remembered; a source that repeats an older one than this is broken
RESTART = "restart"
BY_A_PERSON = "a hard-wired circuit has acted: look why, then restart the clock yourself"
PER_SCAN_MAX = 32  # more orders than this in one scan are refused


class Orders(Protocol):
    """A source of orders: a person's desk, a script, a replay. Nothing else commands a chamber."""

    def due(self, scan: int) -> tuple[Command, ...]:
        """Commands to apply in this scan, oldest first; empty when there are none or the source has trouble."""
        ...


@dataclass(frozen=True, slots=True)
class CommandState:
    """ids: the last MEMORY ids that came, newest last. outcomes: how many outcomes were given. repeats: dropped."""

    ids: tuple[str, ...] = ()
    outcomes: int = 0
    repeats: int = 0


def fresh(state: CommandState, commands: tuple[Command, ...]) -> tuple[CommandState, tuple[Command, ...]]:
    """Drop ids that came before; remember the others. Each command returned must be given one outcome."""
    ids = state.ids
    taken: list[Command] = []
    for command in commands:
        if command.id not in ids:
            ids = (*ids, command.id)
            taken.append(command)
    repeats = state.repeats + len(commands) - len(taken)
    return CommandState(ids[-MEMORY:], state.outcomes + len(taken), repeats), tuple(taken)


def objection(command: Command, state: str, place: int, stale_after_s: float, locked: str = "") -> str:
    """Why a command is refused before its meaning is looked at; "" when it is not.

    place: its position among the commands of this scan. Its arguments may say `age_s`, how long it lay at its source,
    `seen`, the procedural state its sender looked at when giving it, and `refuse`, what its source has against it.
    locked: whose lock keeps the outputs off.
    """
    if command.verb not in VERBS and not (command.verb == TROUBLE and command.who == RUNTIME):
        return f"unknown command {command.verb!r}: known are {', '.join(sorted(VERBS))}"
    if place >= PER_SCAN_MAX:
        return f"more than {PER_SCAN_MAX} commands in one scan: send it again"
    if locked and command.verb in NOT_WHILE_LOCKED:
        return f"{locked}; the lock must be lifted first"
    for name, value in command.args:
        if name == "refuse":
            return str(value)
        if name == "age_s" and not (isinstance(value, int | float) and 0.0 <= value <= stale_after_s):
            return f"stale: {value} s old, at most {stale_after_s:g} s; give it again"
        if name == "seen" and value != state and command.verb not in SAFE:
            return f"stale: given while the chamber was {value}, it is {state} now; look and give it again"
    return ""


def left_to_people(commands: tuple[Command, ...]) -> tuple[Command, ...]:
    """The same, with the restart that the controller gives itself after an outage refused: a hard-wired circuit has
    acted since, and only a person gives back what it took."""
    return tuple([
        one._replace(args=(*one.args, ("refuse", BY_A_PERSON))) if one.verb == RESTART and one.who == RESUMING else one
        for one in commands
    ])


def shown(value: object) -> str:
    """An argument's value in a refusal."""
    return "(not given)" if value is None else f"{value:.10g}" if isinstance(value, float) else str(value)


def argument(command: Command, name: str) -> str | float | bool | None:
    """One argument of a command, None when it has none of that name."""
    return next((value for known, value in command.args if known == name), None)


def outcome(command: Command, reason: str = "") -> Event:
    """The one outcome of a command: done when there is no reason against it, else refused."""
    return settled(command.id, command.verb, command.who, reason)


def settled(id_: str, verb: str, who: str, reason: str) -> Event:
    """The outcome of a command known by its id, verb and sender."""
    result = "refused" if reason else "done"
    said = reason if reason.startswith(result) else f"{result}, {reason}"
    text = f"{verb} by {who}: {said if reason else result}"
    return Event("command", "", text, (
        ("id", id_), ("verb", verb), ("who", who), ("outcome", result), ("reason", reason),
    ))
