"""What a forecast needs from a chamber file, and what it finds against a recipe in that chamber."""

from __future__ import annotations

from math import isnan

from controller.config.chamber import ChamberFile
from controller.config.rules import verdict_rules
from controller.core.climate.moistair import enthalpy_kJ_per_kg, humidity_ratio, vapour_pressure_Pa
from controller.core.loops.capacity import MOIST_AIR_KJ_PER_KGK
from controller.core.loops.constraints import DRYING
from controller.core.outlook.diary import Forecast, PhaseForecast
from controller.core.outlook.forecast import HOURS_MAX, Case, Room
from controller.core.sequence.recipe import Phase, Recipe, band
from controller.errors import Problem

WAIT_H_MIN = 0.2  # shorter waits are not worth a line
SHORT_H_MIN = 0.5
BELOW_PCT_MIN = 0.1  # less is not worth a line


def room(chamber: ChamberFile, empty_bays: tuple[int, ...] = ()) -> Room:
    """The sections of a chamber file that a forecast needs."""
    probed = {board.bay for board in chamber.climate.boards}
    loaded = [bay for bay in range(1, chamber.bays + 1) if bay not in empty_bays]
    return Room(
        limits=chamber.limits,
        climate=chamber.climate,
        product=chamber.product,
        temperature=chamber.temperature,
        moisture=chamber.moisture,
        constraints=chamber.constraints,
        actuators=chamber.actuation,
        sequence=chamber.sequence,
        alarms=chamber.alarms,
        forecast=chamber.forecast,
        boards_estimated=any(bay not in probed for bay in loaded),
    )


def problems(recipe: Recipe, chamber: ChamberFile, case: Case, ahead: Forecast, file: str) -> list[Problem]:
    """What must be refused: a humidity that no hold keeps dry, a heater below the hold's need, a band never reached."""
    found = []
    for number, phase in enumerate(recipe.phases):
        where = f"phases[{number}]"
        if phase.kind == "hold":
            found += _heater(where, phase, chamber, case, file)
            if number < len(ahead.phases):
                found += _humidity(where, phase, ahead.phases[number], file)
    if not ahead.finished and ahead.phases and ahead.phases[-1].kind == "ramp":
        number, last = len(ahead.phases) - 1, ahead.phases[-1]
        value = f"band not reached {ahead.end_h:.0f} h after the start, {last.temperature_max_degC:.1f} degC at most"
        why = last.waits[0][0] if last.waits else "the air does not get there"
        found.append(Problem(
            file, f"phases[{number}].end", value, f"a hold must begin within {HOURS_MAX:g} h (held back: {why})",
            "ask for a lower floor or a lower ramp_rh_floor_pct, or mix warmer",
        ))  # fmt: skip
    return found


def notes(recipe: Recipe, ahead: Forecast) -> list[str]:
    """What is allowed but will not go as asked: waits, what cannot follow, humidity that dry surfaces forbid."""
    said = []
    for number, phase in enumerate(ahead.phases):
        name = f"phase {number + 1} ({phase.kind})"
        said += [
            f"{name}: its clock will stand still for {hours:.1f} h, {why}"
            for why, hours in phase.waits
            if hours >= WAIT_H_MIN
        ]
        said += [f"{name}: for {hours:.1f} h {why}" for why, hours in phase.short if _falls_short(why, hours)]
        asked, holds = recipe.phases[number], phase.kind == "hold"
        if holds and asked.rh_fog_below_pct > phase.dry_limit_mean_pct:
            said.append(
                f"{name}: fog below {asked.rh_fog_below_pct:g} % is more than dry surfaces allow"
                f" ({phase.dry_limit_mean_pct:.1f} % on average): the dew limit will decide"
            )
        if asked.rh_accept_pct > phase.rh_min_pct + BELOW_PCT_MIN:
            said.append(_dry(name, asked, phase))
    said += _short_hold(recipe, ahead)
    if not ahead.finished and recipe.phases[len(ahead.phases) - 1].end.empty:
        said.append(
            f"phase {len(ahead.phases)} ({ahead.phases[-1].kind}): ends when the last board is out, which a forecast"
            " cannot know: nothing after it is forecast"
        )
    if isnan(ahead.ready_h):
        said.append(f"the product will not be ready within {ahead.end_h:.0f} h")
    return said


def _dry(name: str, asked: Phase, phase: PhaseForecast) -> str:
    """The air will be drier than the phase is judged by."""
    if phase.dry_limit_min_pct < asked.rh_accept_pct:
        why = f"dry surfaces allow no more than {phase.dry_limit_min_pct:.1f} % there"
        remedy = "a warmer mix, gentler heating, or a lower rh_accept_pct"
    else:
        why, remedy = "the fog does not keep up", "a higher rh_fog_below_pct, or a lower rh_accept_pct"
    return (
        f"{name}: humidity may fall to {phase.rh_min_pct:.1f} %, below the {asked.rh_accept_pct:g} % it is judged by:"
        f" {why}; what would help: {remedy}"
    )


def _short_hold(recipe: Recipe, ahead: Forecast) -> list[str]:
    """A hold that is over before it does anything; one that never begins is a problem of its own."""
    numbers = [number for number, phase in enumerate(recipe.phases, start=1) if phase.kind == "hold"]
    least_h = verdict_rules().hold_hours_min
    if not numbers or not ahead.finished or ahead.hold_h >= least_h:
        return []
    said = (
        f"phase {numbers[-1]} (hold): all holding together is {ahead.hold_h:.1f} h long, less than {least_h:g} h:"
        f" it begins {ahead.hold_start_h:.1f} h after the start; what would help: a later end (at_least_h ="
        f" {least_h:g}), or, where the ramp waits, a warmer mix or a lower floor"
    )
    return [said]


def _falls_short(why: str, hours: float) -> bool:
    """What the chamber cannot give; that the dew limit vents or caps fog is how it works."""
    return hours >= SHORT_H_MIN and not why.startswith(("vent: dew point", "dew limit", DRYING))


def _humidity(where: str, phase: Phase, ahead: PhaseForecast, file: str) -> list[Problem]:
    limit = ahead.dry_limit_mean_pct
    if phase.rh_accept_pct <= limit:
        return []
    return [Problem(
        file, f"{where}.rh_accept_pct", f"{phase.rh_accept_pct:g} %",
        f"at most {limit:.1f} %, the dry limit of this hold", "accept less, or insulate: above it surfaces get wet",
    )]  # fmt: skip


def _heater(where: str, phase: Phase, chamber: ChamberFile, case: Case, file: str) -> list[Problem]:
    """Losses at the floor in the coldest hour, with a product that no longer helps, against what can be given."""
    floor, _ = band(phase)
    shell = chamber.forecast
    rh = phase.rh_fog_below_pct or phase.rh_accept_pct
    inside = enthalpy_kJ_per_kg(floor, humidity_ratio(vapour_pressure_Pa(floor, rh)))
    cold, cold_rh = min(case.outdoor)
    outside = enthalpy_kJ_per_kg(cold, humidity_ratio(vapour_pressure_Pa(cold, cold_rh)))
    lost_kW = 1e-3 * (
        shell.envelope_m2 * shell.envelope_W_per_m2K * (floor - cold)
        + shell.floor_m2 * shell.floor_W_per_m2K * (floor - shell.ground_degC)
    ) + shell.leak_kg_per_s * (inside - outside)
    flow = phase.fan_kg_per_s if phase.fan_kg_per_s is not None else chamber.sequence.fan_kg_per_s
    fan_kW = (flow / chamber.fan.flow_kg_per_s_at_full) ** 3 * chamber.fan.power_kW_at_full
    supply_kW = flow * MOIST_AIR_KJ_PER_KGK * phase.supply_over_return_K_max - fan_kW
    most_kW = max(0.0, min(chamber.heat.capacity_kW, chamber.constraints.heat_kW_max, supply_kW))
    need_kW = lost_kW - fan_kW
    if need_kW <= most_kW:
        return []
    name = "floor_degC" if phase.temperature_degC is None else "temperature_degC"
    return [Problem(
        file, f"{where}.{name}", f"{floor:g} degC",
        f"takes {need_kW:.1f} kW of heat at {cold:g} degC outdoors, {most_kW:.1f} kW can be given",
        "ask for less, allow more supply_over_return_K_max, or give the chamber a larger heater",
    )]  # fmt: skip
