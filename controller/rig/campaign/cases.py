"""When an invariant has something to say: the scans in which a mistake of the kind that it names would show.

An invariant that holds in a thousand runs none of which came near its case proves nothing.
"""

from __future__ import annotations

from collections.abc import Callable

from controller.core.frames import Outputs
from controller.core.invariants.plan import InvariantPlan
from controller.core.invariants.sequence import ORDERED
from controller.core.orders.commands import MEMORY
from controller.core.orders.procedure import AT_REST
from controller.core.rows.protection import HARD_WIRED
from controller.core.scan import ScanResult, ScanState

Case = Callable[[InvariantPlan, ScanState, ScanResult], bool]


def _heats(plan: InvariantPlan, outputs: Outputs) -> bool:
    return outputs.discrete[plan.heat_run] or (plan.heat_valve >= 0 and outputs.analog[plan.heat_valve] > 0.0)


def _heats_or_fogs(plan: InvariantPlan, outputs: Outputs) -> bool:
    return _heats(plan, outputs) or True in plan.fog_of(outputs.discrete)


def _air_lost(plan: InvariantPlan, before: ScanState, now: ScanResult) -> bool:
    return _heats(plan, before.outputs) and not now.frame.discrete[plan.airflow]


def _cause(_plan: InvariantPlan, _before: ScanState, now: ScanResult) -> bool:
    return bool(now.state.memory.since_s)


def _blocked_while_on(plan: InvariantPlan, before: ScanState, now: ScanResult) -> bool:
    blocked = now.verdict.blocked
    return ("heat" in blocked or "fog" in blocked) and _heats_or_fogs(plan, before.outputs)


def _reset_after(_plan: InvariantPlan, _before: ScanState, now: ScanResult) -> bool:
    """The reset itself; the scans after it are all alike."""
    return bool(now.state.memory.taken) and any(
        event.kind == "reset" and event.tag in HARD_WIRED for event in now.events
    )


def _reading_lost(plan: InvariantPlan, before: ScanState, now: ScanResult) -> bool:
    return now.frame.qualities is not plan.good and _heats_or_fogs(plan, before.outputs)


def _ordered(_plan: InvariantPlan, before: ScanState, now: ScanResult) -> bool:
    trail = now.state.sequence.trail
    return any(edge in ORDERED for edge in zip((before.sequence.state, *trail), trail, strict=False))


def _next_phase(_plan: InvariantPlan, before: ScanState, now: ScanResult) -> bool:
    was, sequence = before.sequence, now.state.sequence
    return was.state == sequence.state == "running" and was.phase != sequence.phase


def _clock_stopped(_plan: InvariantPlan, before: ScanState, now: ScanResult) -> bool:
    state = now.state.sequence.state
    return state == before.sequence.state and state != "running" and state not in AT_REST


def _setpoint_moves(_plan: InvariantPlan, before: ScanState, now: ScanResult) -> bool:
    was, sequence = before.sequence, now.state.sequence
    return was.phase == sequence.phase and (was.floor_degC, was.ceiling_degC) != (
        sequence.floor_degC, sequence.ceiling_degC,
    )  # fmt: skip


def _alarm_again(_plan: InvariantPlan, _before: ScanState, now: ScanResult) -> bool:
    return sum(event.kind == "alarm" and ("what", "comes") in event.data for event in now.events) > 1


def _much_remembered(_plan: InvariantPlan, _before: ScanState, now: ScanResult) -> bool:
    return len(now.state.sequence.commands.ids) >= MEMORY


# name of an invariant -> its case
CASES: dict[str, Case] = {
    "output-range": lambda _plan, _before, now: any(value >= 100.0 for value in now.outputs.analog),
    "heat-without-air": _air_lost,
    "cause-ignored": _cause,
    "tripped-output-on": _blocked_while_on,
    "given-back": _reset_after,
    "slew": lambda _plan, before, now: before.outputs.analog != now.outputs.analog,
    "owner": lambda _plan, _before, now: now.verdict.forced,
    "bad-reading-used": _reading_lost,
    "reading-order": lambda _plan, _before, now: now.state.memory.age_scans > 0,
    "procedure-edge": lambda _plan, _before, now: bool(now.state.sequence.trail),
    "unordered": _ordered,
    "phase-fell": _next_phase,
    "phase-short": _next_phase,
    "clock": _clock_stopped,
    "ramp-rate": _setpoint_moves,
    "band": lambda _plan, before, now: before.sequence.ceiling_degC != now.state.sequence.ceiling_degC,
    "integrator": lambda _plan, before, now: before.allocation is not now.state.allocation,
    "trip-alarm": lambda _plan, _before, now: bool(now.verdict.trips),
    "alarm-rate": _alarm_again,
    "queue": _much_remembered,
    "hand-unseen": lambda plan, _before, now: False in plan.switches(now.frame.discrete)[:-1],
    "command-outcome": lambda _plan, _before, now: any(event.kind == "command" for event in now.events),
}
