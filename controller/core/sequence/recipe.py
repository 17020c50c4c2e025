"""Recipes: phases and end conditions as data, the chamber's hard limits, and what is wrong with a recipe.

A recipe file is one TOML table of these fields, a `[[phases]]` table a phase and a `[phases.end]` inside it. The
classes validate nothing themselves; bounds are checked where files are read, and what needs more than one field
to judge is found by `problems`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Literal, NamedTuple

from annotated_types import Ge, Gt, Le, Len

from controller.core.sequence.phase_kinds import EMPTY, FOR_DRYING, FOR_PULSES, KINDS, OnDoor, OnOutage, PhaseKind

BAND_K_MIN = 0.5  # floor = ceiling is one setpoint; a band thinner than this makes heat and vent meet
RH_PCT_MIN = 10.0  # no curing air is that dry: a smaller figure is a fraction typed for a percentage


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """When a phase is over. Unset conditions take no part.

    match: "any" = the first condition that holds ends the phase, "all" = every one given must hold.
    time_h: phase clock (stands still while held or waiting); cycle_h: cycle clock (stands still while held).
    equivalent_age_h: the worst position's, at 20 degC; strength_MPa: the worst position's, an estimate.
    product_degC_above: mean core; product_degC_below: hottest core. in_band: the coldest good probe is in the band.
    at_least_h, at_most_h: never before, never after, whatever else holds; at_most_h counts waiting time too.
    full: the last board is in: every place of the bays in use holds a charge (a fill).
    empty: the last board is out (a park): nothing stands in any place, by what was told of each; or a person says so
    with next-phase.
    by_operator: no condition at all, a person ends it with next-phase or stop (a standing climate).
    """

    match: Literal["any", "all"] = "any"
    time_h: Annotated[float, Gt(0), Le(2000)] | None = None
    cycle_h: Annotated[float, Gt(0), Le(2000)] | None = None
    equivalent_age_h: Annotated[float, Gt(0), Le(2000)] | None = None
    product_degC_above: Annotated[float, Ge(0), Le(90)] | None = None
    product_degC_below: Annotated[float, Ge(0), Le(90)] | None = None
    strength_MPa: Annotated[float, Gt(0), Le(200)] | None = None
    in_band: bool = False
    full: bool = False
    empty: bool = False
    by_operator: bool = False
    at_least_h: Annotated[float, Ge(0), Le(2000)] = 0.0
    at_most_h: Annotated[float, Gt(0), Le(2000)] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """One phase: what is wanted, how fast, and when it is over.

    temperature_degC: one setpoint; or floor_degC and ceiling_degC: the chamber floats between them.
    A ramp moves its setpoint (or floor) up to that value from the mean measured when it begins; a cooldown moves its
    setpoint (or ceiling) down to it. rate_K_per_h: how fast, ramp and cooldown only.
    rh_fog_below_pct: fog below this (0 = never); rh_accept_pct: what the phase is judged by.
    ramp_rh_floor_pct: a ramp waits while the coldest watched surface would not allow this humidity (0 = no test).
    supply_over_return_K_max: limits heating. fan_kg_per_s: circulated air (unset = the chamber's own).
    holdback_K: the clock of a ramp or hold stands still while the mean is further than this below the setpoint.
    in_band_K: a hold may begin, and its band counts as reached, when the coldest good probe is at most this far
    below the floor (of what is dried: when the air is no moister than rh_vent_above_pct). wait_alarm_h: waiting longer
    than this in one phase raises an alarm.
    on_door: what an open door does. hold, continue: no fog, no heat after a while; the recipe's clock stands still or
    goes on. standing: doors are daily work. Fog goes off (its banks serve all bays), heat and vent keep their outputs
    for door_keep_s and then follow the other bays, no clock stops; the air probes of the opened bay weigh nothing
    while its door is open and for door_blind_s after it shut. Open for long, the door is alarmed (row "door-long").
    on_outage: what a power loss does, when the controller is back. hold: the clock stands still and a person restarts
    it. resume: it restarts by itself, from the measured temperature, unless a protection acts (the panel's watchdog,
    which an outage trips, does not count then). Either way an outage of an hour or more aborts, but for an empty
    chamber, and so does air outside the chamber's limits where something is still to set (see phase_kinds).
    rh_vent_above_pct: dry-out and standby only: vent above this humidity (0 = only for the dew limit).
    fan_on_s, fan_off_s: park and standby only: the fan runs so long and rests so long, by turns (0 = it never rests).
    It does not rest while the air is out of the band, or a surface too near to the dew point.
    heat_against_vent: False = while the vent carries moisture out, heat fades, the floor sags and a ramp waits: saves
    energy. True = temperature comes first, whatever it costs.
    """

    kind: PhaseKind
    text: str = ""
    temperature_degC: Annotated[float, Ge(0), Le(90)] | None = None
    floor_degC: Annotated[float, Ge(0), Le(90)] | None = None
    ceiling_degC: Annotated[float, Ge(0), Le(90)] | None = None
    rate_K_per_h: Annotated[float, Gt(0), Le(20)] | None = None
    rh_fog_below_pct: Annotated[float, Ge(0), Le(100)] = 0.0
    rh_accept_pct: Annotated[float, Ge(0), Le(100)] = 0.0
    ramp_rh_floor_pct: Annotated[float, Ge(0), Le(99)] = 0.0
    supply_over_return_K_max: Annotated[float, Gt(0), Le(30)] = 3.0
    fan_kg_per_s: Annotated[float, Ge(0), Le(100)] | None = None
    holdback_K: Annotated[float, Ge(0.1), Le(10)] = 1.0
    in_band_K: Annotated[float, Ge(0), Le(1)] = 0.2
    wait_alarm_h: Annotated[float, Gt(0), Le(100)] = 4.0
    rh_vent_above_pct: Annotated[float, Ge(0), Le(100)] = 0.0
    fan_on_s: Annotated[float, Ge(60), Le(7200)] = 600.0
    fan_off_s: Annotated[float, Ge(0), Le(7200)] = 0.0
    on_door: OnDoor = "hold"
    on_outage: OnOutage = "hold"
    door_keep_s: Annotated[float, Ge(0), Le(3600)] = 180.0
    door_blind_s: Annotated[float, Ge(0), Le(3600)] = 300.0
    heat_against_vent: bool = False
    end: End = field(default_factory=End)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """A named list of phases, carried out in order; the cycle is complete when the last one ends.

    settle_h: in place of the chamber's own ([product] settle_h): younger charges are not watched for dew.
    """

    name: Annotated[str, Len(1, 40)]
    text: str = ""
    version: Annotated[int, Ge(1)] = 1
    settle_h: Annotated[float, Ge(0), Le(48)] | None = None
    phases: Annotated[tuple[Phase, ...], Len(1, 40)]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChamberLimits:
    """What no recipe may exceed in this chamber: section [limits] of the chamber file."""

    temperature_degC_max: Annotated[float, Gt(0), Le(90)] = 45.0
    temperature_degC_min: Annotated[float, Ge(0), Le(40)] = 5.0
    product_degC_max: Annotated[float, Gt(0), Le(90)] = 55.0
    ramp_K_per_h_max: Annotated[float, Gt(0), Le(20)] = 3.0
    cooldown_K_per_h_max: Annotated[float, Gt(0), Le(20)] = 3.0
    rh_pct_max: Annotated[float, Gt(0), Le(100)] = 99.0
    supply_over_return_K_max: Annotated[float, Gt(0), Le(30)] = 8.0
    fan_kg_per_s_min: Annotated[float, Ge(0), Le(100)] = 3.0
    fan_kg_per_s_max: Annotated[float, Gt(0), Le(100)] = 12.0
    cycle_h_max: Annotated[float, Gt(0), Le(2000)] = 168.0


class Finding(NamedTuple):
    """One thing wrong in a recipe: field, what stands there, what is allowed, how to mend it."""

    field: str
    value: str
    limit: str
    remedy: str


def band(phase: Phase) -> tuple[float, float]:
    """Floor and ceiling at the end of the phase's movement, degC. Only for a phase without problems."""
    if phase.temperature_degC is not None:
        return phase.temperature_degC, phase.temperature_degC
    assert phase.floor_degC is not None
    assert phase.ceiling_degC is not None
    return phase.floor_degC, phase.ceiling_degC


def keeps_places(recipe: Recipe) -> bool:
    """Does the controller keep account of every place from the beginning: a fill, or a standing climate?"""
    return any(phase.kind == "fill" or phase.on_door == "standing" for phase in recipe.phases)


def problems(recipe: Recipe, limits: ChamberLimits) -> tuple[Finding, ...]:
    """Everything in the recipe that this chamber must refuse, in file order; empty when it may run."""
    found: list[Finding] = []
    before: Phase | None = None
    for number, phase in enumerate(recipe.phases):
        where = f"phases[{number}]"
        whole = _band_problems(where, phase, limits, found)
        _rate_problems(where, phase, limits, found)
        _air_problems(where, phase, limits, found)
        _empty_problems(where, phase, limits, found)
        _end_problems(where, phase, limits, found)
        if whole:
            _order_problems(where, phase, before, found)
            before = phase
    return tuple(found)


def _band_problems(where: str, phase: Phase, limits: ChamberLimits, found: list[Finding]) -> bool:
    """Is there one setpoint or one band, thick enough and inside the chamber's limits? True when it can be used."""
    single, floor, ceiling = phase.temperature_degC, phase.floor_degC, phase.ceiling_degC
    if (single is None) == (floor is None and ceiling is None) or (floor is None) != (ceiling is None):
        found.append(Finding(
            f"{where}.temperature_degC", f"{_shown(single)} with floor {_shown(floor)}, ceiling {_shown(ceiling)}",
            "either temperature_degC, or floor_degC and ceiling_degC", "give one setpoint, or both ends of a band"))
        return False
    usable = True
    lowest, highest = limits.temperature_degC_min, limits.temperature_degC_max
    for name, value in (("temperature_degC", single), ("floor_degC", floor), ("ceiling_degC", ceiling)):
        if value is not None and not lowest <= value <= highest:
            found.append(Finding(f"{where}.{name}", f"{value:g} degC", f"{lowest:g} to {highest:g} degC",
                                 "choose a temperature inside [limits] of the chamber file"))
    if floor is not None and ceiling is not None and floor != ceiling and ceiling - floor < BAND_K_MIN:
        usable = False
        found.append(Finding(
            f"{where}.ceiling_degC", f"{ceiling:g} degC over a floor of {floor:g} degC",
            f"equal to the floor, or at least {BAND_K_MIN:g} K above it",
            "widen the band, or make it one setpoint: between the two, heat and vent would work against each other"))
    return usable


def _rate_problems(where: str, phase: Phase, limits: ChamberLimits, found: list[Finding]) -> None:
    moves = KINDS[phase.kind].moves != 0
    most = limits.ramp_K_per_h_max if phase.kind == "ramp" else limits.cooldown_K_per_h_max
    rate = phase.rate_K_per_h
    if moves and rate is None:
        found.append(Finding(f"{where}.rate_K_per_h", "not given", f"above 0, at most {most:g} K/h",
                             f"say how fast the {phase.kind} moves"))
    elif moves and rate is not None and rate > most:
        found.append(Finding(f"{where}.rate_K_per_h", f"{rate:g} K/h", f"at most {most:g} K/h",
                             "choose a slower rate, or have [limits] of the chamber file changed"))
    elif not moves and rate is not None:
        found.append(Finding(f"{where}.rate_K_per_h", f"{rate:g} K/h", "only in a ramp or a cooldown",
                             "remove it, or put a ramp phase before this one"))
    if phase.ramp_rh_floor_pct and phase.kind != "ramp":
        found.append(Finding(f"{where}.ramp_rh_floor_pct", f"{phase.ramp_rh_floor_pct:g} %", "only in a ramp",
                             "remove it; a hold is kept by rh_fog_below_pct and the dew margin"))


def _air_problems(where: str, phase: Phase, limits: ChamberLimits, found: list[Finding]) -> None:
    fog, accept = phase.rh_fog_below_pct, phase.rh_accept_pct
    for name, value in (("rh_fog_below_pct", fog), ("rh_accept_pct", accept),
                        ("ramp_rh_floor_pct", phase.ramp_rh_floor_pct),
                        ("rh_vent_above_pct", phase.rh_vent_above_pct)):
        if 0.0 < value < RH_PCT_MIN:
            meant = f"did you mean {100.0 * value:g}? " if value <= 1.0 else ""
            found.append(Finding(f"{where}.{name}", f"{value:g} %", f"0 (switched off), or at least {RH_PCT_MIN:g} %",
                                 f"{meant}it is percent, not a fraction"))
    for name, value in (("rh_fog_below_pct", fog), ("rh_accept_pct", accept)):
        if value > limits.rh_pct_max:
            found.append(Finding(f"{where}.{name}", f"{value:g} %", f"at most {limits.rh_pct_max:g} %",
                                 "ask for less: above it nothing stays dry"))
    if fog and accept > fog:
        found.append(Finding(f"{where}.rh_accept_pct", f"{accept:g} %", f"at most rh_fog_below_pct = {fog:g} %",
                             "judge by no more than what the fog steers for"))
    if phase.kind == "fill" and phase.on_door == "hold":
        found.append(Finding(f"{where}.on_door", "hold", '"standing" or "continue" in a fill',
                             'say on_door = "standing": doors are what a fill is done through'))
    if fog and not KINDS[phase.kind].fogs:
        found.append(Finding(f"{where}.rh_fog_below_pct", f"{fog:g} %", f"0 in a {phase.kind} phase",
                             "remove it: fog and vent would work against each other"))
    if phase.supply_over_return_K_max > limits.supply_over_return_K_max:
        found.append(Finding(
            f"{where}.supply_over_return_K_max", f"{phase.supply_over_return_K_max:g} K",
            f"at most {limits.supply_over_return_K_max:g} K", "heat more gently: 3 to 4 K is usual"))
    fan = phase.fan_kg_per_s
    if fan is not None and not limits.fan_kg_per_s_min <= fan <= limits.fan_kg_per_s_max:
        found.append(Finding(
            f"{where}.fan_kg_per_s", f"{fan:g} kg/s",
            f"{limits.fan_kg_per_s_min:g} to {limits.fan_kg_per_s_max:g} kg/s",
            "choose a flow at which the air is proven and even; without it nothing may heat"))


def _empty_problems(where: str, phase: Phase, limits: ChamberLimits, found: list[Finding]) -> None:
    """Fields that only phases without product, or with a resting fan, may have."""
    dry = phase.rh_vent_above_pct
    if dry and phase.kind not in FOR_DRYING:
        found.append(Finding(f"{where}.rh_vent_above_pct", f"{dry:g} %", f"only in a {' or a '.join(FOR_DRYING)}",
                             "remove it: with product inside the dew limit decides when to vent"))
    if dry > limits.rh_pct_max:
        found.append(Finding(f"{where}.rh_vent_above_pct", f"{dry:g} %", f"at most {limits.rh_pct_max:g} %",
                             "ask for drier air: above it nothing stays dry"))
    if phase.kind == "dry-out" and not dry:
        found.append(Finding(f"{where}.rh_vent_above_pct", "not given", f"10 to {limits.rh_pct_max:g} %",
                             "say how dry the air shall be: nothing dries without it"))
    if phase.fan_off_s and phase.kind not in FOR_PULSES:
        found.append(Finding(f"{where}.fan_off_s", f"{phase.fan_off_s:g} s", f"only in a {' or a '.join(FOR_PULSES)}",
                             "remove it: fresh product needs moving air all the time"))


def _end_problems(where: str, phase: Phase, limits: ChamberLimits, found: list[Finding]) -> None:
    end = phase.end
    of_product = (end.equivalent_age_h, end.product_degC_above, end.product_degC_below, end.strength_MPa)
    given = (end.time_h, end.cycle_h, *of_product)
    condition = any(value is not None for value in given) or end.in_band or end.full or end.empty
    here = f"{where}.end"
    if not condition and end.at_most_h is None and not end.by_operator and phase.kind not in ("ramp", "cooldown"):
        found.append(Finding(here, "no condition", "at least one condition, or by_operator = true",
                             "say when the phase is over: time_h, equivalent_age_h, ..."))
    if condition and end.by_operator:
        found.append(Finding(f"{here}.by_operator", "true beside other conditions", "alone",
                             "remove the other conditions or by_operator"))
    if KINDS[phase.kind].empty and any(value is not None for value in of_product):
        found.append(Finding(here, "a condition of the product", f"none in a {phase.kind} phase",
                             "nothing stands inside any more: say time_h, or by_operator = true"))
    if end.full and phase.kind != "fill":
        found.append(Finding(f"{here}.full", "true", "only in a fill", "put a fill phase first, or say time_h"))
    if end.empty and phase.kind != "park":
        found.append(Finding(f"{here}.empty", "true", "only in a park",
                             "put a park phase where the boards are taken out, or say time_h"))
    most = end.at_most_h
    if most is not None and end.at_least_h > most:
        found.append(Finding(f"{here}.at_least_h", f"{end.at_least_h:g} h", f"at most at_most_h = {most:g} h",
                             "swap or change the two"))
    if most is not None and end.time_h is not None and end.time_h > most:
        found.append(Finding(f"{here}.time_h", f"{end.time_h:g} h", f"at most at_most_h = {most:g} h",
                             "it can never be reached: shorten it or raise at_most_h"))
    for name, hours in (("time_h", end.time_h), ("cycle_h", end.cycle_h), ("at_least_h", end.at_least_h)):
        if hours is not None and hours > limits.cycle_h_max:
            found.append(Finding(f"{here}.{name}", f"{hours:g} h", f"at most {limits.cycle_h_max:g} h",
                                 "shorten it: the chamber allows no longer cycle"))
    hot = end.product_degC_above
    if hot is not None and hot >= limits.product_degC_max:
        found.append(Finding(f"{here}.product_degC_above", f"{hot:g} degC",
                             f"below product_degC_max = {limits.product_degC_max:g} degC",
                             "the product would trip the chamber first: lower it"))


def _order_problems(where: str, phase: Phase, before: Phase | None, found: list[Finding]) -> None:
    """Does the phase go on from where the one before it ends?"""
    if before is None:
        return
    if phase.kind == "fill" and before.kind != "fill":
        found.append(Finding(f"{where}.kind", "fill", "before every other phase",
                             "put it first; boards that come later need a hold with on_door = \"standing\""))
    if before.kind in EMPTY and phase.kind not in EMPTY:
        found.append(Finding(f"{where}.kind", phase.kind, f"{' or '.join(EMPTY)} after {before.kind}",
                             "what needs product stands before the chamber is empty: end the recipe there"))
    if before.kind == "fill":
        return  # it heats nothing: the next phase begins from what is found
    floor, ceiling = band(phase)
    earlier_floor, earlier_ceiling = band(before)
    name = "temperature_degC" if phase.temperature_degC is not None else "floor_degC"
    if phase.kind == "ramp" and floor < earlier_floor:
        found.append(Finding(f"{where}.{name}", f"{floor:g} degC", f"at least {earlier_floor:g} degC, as before it",
                             "a ramp goes up; use a cooldown to go down"))
    if phase.kind == "cooldown" and ceiling > earlier_ceiling:
        name = "temperature_degC" if phase.temperature_degC is not None else "ceiling_degC"
        found.append(Finding(f"{where}.{name}", f"{ceiling:g} degC", f"at most {earlier_ceiling:g} degC, as before it",
                             "a cooldown goes down; use a ramp to go up"))
    if phase.kind in ("rest", "hold") and floor > earlier_floor + phase.holdback_K:
        found.append(Finding(f"{where}.{name}", f"{floor:g} degC",
                             f"at most {phase.holdback_K:g} K above the {earlier_floor:g} degC before it",
                             "put a ramp between the two"))


def _shown(value: float | None) -> str:
    return "not given" if value is None else f"{value:g}"
