"""May a cycle begin or go on: what speaks against a start, a restart, the end of a phase, the air after an outage."""

from __future__ import annotations

from math import isfinite

from controller.core.climate.climate import Climate
from controller.core.frames import Command
from controller.core.orders.commands import shown
from controller.core.orders.verbs import RESUMING
from controller.core.sequence.phase_kinds import APART_K, RESTART_S
from controller.core.sequence.phases import PhasePlan, SequencePlan, SequenceState

END_S = 10.0  # a phase is at least so old when a person ends it: two orders so close were meant for one; our choice
NOT_LOOKED_FOR = -1.0  # `back_s` of a cycle whose air is not to be judged


def stops(plan: SequencePlan, state: SequenceState, effect: str) -> bool:
    """Does this effect stop the clock in this phase? An open door does only where the phase says so."""
    if effect == "door":
        return state.phase >= 0 and plan.phases[state.phase].on_door_hold
    return effect != "none"


def objection(plan: SequencePlan, state: SequenceState, command: Command, climate: Climate, effect: str) -> str:
    """Why a command that the table allows is refused all the same; "" when it is not."""
    verb = command.verb
    if verb not in ("start", "restart", "resume"):
        return ""
    if effect != "none" and (verb == "start" or stops(plan, state, effect)):
        return "a protection still acts: remove its cause, reset trips, then give it again"
    if not climate.temperature_ok:
        return "no good air temperature: mend the probes, then give it again"
    if verb == "restart" and command.who == RESUMING:
        return _far_off(plan.phases[state.phase], state, climate.temperature_degC)
    for name, value in command.args:
        if verb == "start" and name == "recipe" and value != plan.recipe.name:
            return f"the recipe loaded is {plan.recipe.name}, not {value}"
    return ""


def keeps_phase(plan: SequencePlan, state: SequenceState, meant: str | float | bool | None) -> str:
    """Why a person may not end the phase that runs now; "" when they may. meant: the number of the phase that the order
    was given for, from 1, None where it names none.

    An order that comes late or twice would end the next phase too, so that one is left alone for END_S.
    """
    if state.state != "running":
        return f"refused while {state.state}: only a running cycle has a phase to end"
    phase, number, age_s = plan.phases[state.phase], state.phase + 1, state.phase_s + state.waiting_s
    if meant is not None and (isinstance(meant, str | bool) or meant not in range(1, len(plan.phases) + 1)):
        return f"phase {shown(meant)} must be a whole number from 1 to {len(plan.phases)}"
    if meant is not None and meant != number:
        return f"given for phase {shown(meant)}, it is phase {number} now: look and give it again"
    if not (phase.by_operator or phase.end.empty or phase.kind == "fill"):
        return (f"{phase.name} ends by its own conditions: a person ends a fill, or a phase with by_operator = true"
                " or empty = true")
    if age_s < END_S and number > 1:
        return f"{phase.name} began {age_s:.0f} s ago, it can be ended after {END_S:g} s: look and give it again"
    return ""


def judge_air(phase: PhasePlan, back_s: float, climate: Climate, effect: str, dt_s: float) -> tuple[float, str]:
    """(for how long the air could be believed since an outage, why the cycle must end): one look a scan, judged once.

    It is believed while probes are good and no protection acts: doors are shut then, and the fan has been proven. Air
    that is too hot is believed in any case: the row that it trips by itself says the same.
    """
    degC = climate.temperature_degC
    if not climate.temperature_ok or (effect != "none" and not degC > phase.air_degC_max):
        return 0.0, ""
    back_s += dt_s
    if back_s < RESTART_S:
        return back_s, ""
    if phase.air_degC_min <= degC <= phase.air_degC_max:
        return NOT_LOOKED_FOR, ""
    return NOT_LOOKED_FOR, (
        f"after the outage the air is {degC:.1f} degC, outside {phase.air_degC_min:g} to {phase.air_degC_max:g} degC,"
        " the limits of this chamber: have the product judged; when it is good, reset, then start with its age"
    )


def _far_off(phase: PhasePlan, state: SequenceState, degC: float) -> str:
    """Why a phase does not restart by itself at this temperature; "" when it may."""
    floor = state.floor_degC if state.resume_floor_degC is None else state.resume_floor_degC
    ceiling = max(floor, state.ceiling_degC)
    if not isfinite(phase.air_degC_max) or floor - APART_K <= degC <= ceiling + APART_K:
        return ""
    return (
        f"the air is {degC:.1f} degC, more than {APART_K:g} K off its band of {floor:.1f} to {ceiling:.1f} degC:"
        " look at chamber and product, then restart it yourself"
    )
