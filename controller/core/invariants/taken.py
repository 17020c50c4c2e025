"""A reset gives nothing back: what a hard-wired circuit took stays off until somebody orders something that starts it.

Looked at here from the contacts and the orders alone, whatever protection keeps. Given back is all of it by a start
or a restart. Where no cycle is in progress it is given back, too, to a person who forces an output or puts a loop in
manual, and the heating of door frames, which is a thermostat of its own, by the reset of the cycle.
"""

from __future__ import annotations

from controller.core.frames import Command, Outputs
from controller.core.invariants.plan import CHAINS, HOT, InvariantPlan
from controller.core.orders.procedure import AT_REST
from controller.core.orders.verbs import FORCE, MANUAL
from controller.core.rows.protection import FAN, FOG, FRAME, HEAT, ROWS, SAFE, TAKES
from controller.core.sequence.phases import SequenceState

_FIRST = len(HOT)  # of the chains among the causes
_GOES_ON = frozenset(("running", "restarting"))
_SAFE = frozenset(row.tag for row in ROWS if row.blocks & SAFE)
_BY_HAND = frozenset((FORCE, MANUAL))


def follow_taken(
    taken: int, since_s: tuple[float, ...], trips: tuple[str, ...], sequence: SequenceState,
    commands: tuple[Command, ...],
) -> int:
    """What is taken after this scan, bits. since_s: for how long each cause has been there; trips: tags of rows."""
    if taken and not _GOES_ON.isdisjoint(sequence.trail):
        taken = 0
    if taken and commands and sequence.state in AT_REST:
        taken = 0 if any(command.verb in _BY_HAND for command in commands) else taken
    for time_s, chain in zip(since_s[_FIRST:], CHAINS, strict=False):
        taken |= TAKES[chain] if time_s > 0.0 else 0
    for tag in trips:
        taken |= TAKES.get(tag, 0)
    return taken


def gives_back(
    plan: InvariantPlan, outputs: Outputs, taken: int, state: str, trips: tuple[str, ...], heat: bool, fog: bool
) -> bool:
    """Is an output on that was taken? state: of the sequence. trips: tags of rows. heat, fog: are they on?"""
    if taken & FAN and state == "idle" and not _SAFE.isdisjoint(trips):
        taken &= ~FAN  # a panel that does not hear or answer has its safe values, and there the fan may run
    discrete = outputs.discrete
    return bool(
        (taken & HEAT and heat)
        or (taken & FOG and fog)
        or (taken & FAN and (discrete[plan.fan_run] or outputs.analog[plan.fan_speed] > 0.0))
        or (taken & FRAME and discrete[plan.frame_heat] and state != "idle")
    )
