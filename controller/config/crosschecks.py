"""What must hold between the sections of a chamber file, and between it and a recipe. What a recipe must hold by
itself and against [limits] is judged by the core (recipe.problems)."""

from __future__ import annotations

from collections.abc import Iterator

from controller.config import offsets, words
from controller.config.chamber import ChamberFile
from controller.core.climate import pairs
from controller.core.equipment.heaters import GasConfig, HeatConfig
from controller.core.rows.protection import NUMBER
from controller.core.sequence import recipe as recipes
from controller.core.sequence.recipe import Recipe
from controller.errors import Problem

PULSE_MAX_KG_S_PER_H = 3600.0  # kg/h times seconds: one kilogram of water in one cycle
CP_AIR_KJ_PER_KGK = 1.02  # moist air at curing temperatures

Finding = tuple[str, object, str, str]


def chamber_problems(chamber: ChamberFile, file: str) -> list[Problem]:
    """Every contradiction inside a chamber file."""
    rules = (_devices, _signals, _pairs, _limits, _fog, _actuators, _protection, _alarms)
    found = [finding for rule in rules for finding in rule(chamber)]
    return [Problem(file, field, str(value), limit, remedy) for field, value, limit, remedy in found]


def recipe_problems(recipe: Recipe, chamber: ChamberFile, file: str) -> list[Problem]:
    """Everything in a recipe that this chamber must refuse."""
    found: list[Finding] = list(recipes.problems(recipe, chamber.limits))
    said = {field for field, *_ in found}
    for number, phase in enumerate(recipe.phases):
        if f"phases[{number}].fan_kg_per_s" in said:
            continue
        if phase.fan_kg_per_s is not None and phase.fan_kg_per_s > chamber.fan.flow_kg_per_s_at_full:
            limit = f"at most fan.flow_kg_per_s_at_full = {chamber.fan.flow_kg_per_s_at_full:g} of the chamber file"
            found.append((f"phases[{number}].fan_kg_per_s", f"{phase.fan_kg_per_s:g}", limit, "choose a smaller flow"))
    unique = dict.fromkeys(Problem(file, field, str(value), limit, remedy) for field, value, limit, remedy in found)
    return list(unique)


def notes(recipe: Recipe, chamber: ChamberFile, load_t: float | None = None) -> list[str]:
    """What is allowed but will not go as asked, one sentence each. Only for files without problems.

    load_t: of this charge, t; None = the full load of the chamber file. Warming it at a ramp's rate takes mass times
    rate; what the supply limit and the heater give may be less, and then the ramp waits until the product warms itself.
    """
    said = []
    thermal = chamber.temperature
    tonnes = thermal.nominal_t if load_t is None else load_t
    mass_MJ_per_K = tonnes * thermal.product_MJ_per_K_per_t + thermal.fixed_MJ_per_K
    for number, phase in enumerate(recipe.phases, start=1):
        if phase.kind != "ramp" or phase.rate_K_per_h is None:
            continue
        asked_kW = mass_MJ_per_K * 1000.0 * phase.rate_K_per_h / 3600.0
        flow = phase.fan_kg_per_s if phase.fan_kg_per_s is not None else chamber.sequence.fan_kg_per_s
        supply_kW = flow * CP_AIR_KJ_PER_KGK * phase.supply_over_return_K_max
        most_kW = min(supply_kW, chamber.heat.capacity_kW, chamber.constraints.heat_kW_max)
        if round(asked_kW) > round(most_kW):
            what = "its supply limit" if most_kW == supply_kW else "the heater"
            said.append(
                f"phase {number} ({phase.kind}): {phase.rate_K_per_h:g} K/h with {tonnes:g} t takes "
                f"{asked_kW:.0f} kW, {what} gives {most_kW:.0f} kW: it will be slower until the product warms itself"
            )
    return said


def _signals(chamber: ChamberFile) -> Iterator[Finding]:
    yield from offsets.problems(chamber.signals)


def _pairs(chamber: ChamberFile) -> Iterator[Finding]:
    for index, pair in enumerate(chamber.climate.pairs):
        wrong = pairs.problem_of(pair)
        if wrong:
            field, value, limit, remedy = wrong
            yield f"climate.pairs[{index}].{field}", value, limit, remedy


def _devices(chamber: ChamberFile) -> Iterator[Finding]:
    if bool(chamber.device) == bool(chamber.devices):
        limit = "must name either device or devices" + (", not both" if chamber.device else "")
        yield "device", chamber.device or words.MISSING, limit, 'write device = "panel-a", or devices = ["a", "b"]'
    twice = [name for name in dict.fromkeys(chamber.devices) if chamber.devices.count(name) > 1]
    for name in twice:
        yield "devices", name, "stands twice", "name each device once"


def _limits(chamber: ChamberFile) -> Iterator[Finding]:
    limits, asked = chamber.limits, chamber.constraints
    if limits.rh_pct_max < recipes.RH_PCT_MIN:
        meant = f"did you mean {100.0 * limits.rh_pct_max:g}? " if limits.rh_pct_max <= 1.0 else ""
        limit = f"must be at least {recipes.RH_PCT_MIN:g} %"
        yield "limits.rh_pct_max", f"{limits.rh_pct_max:g}", limit, f"{meant}it is percent, not a fraction"
    if not limits.temperature_degC_min < limits.temperature_degC_max:
        yield (
            "limits.temperature_degC_max",
            f"{limits.temperature_degC_max:g}",
            f"must be above temperature_degC_min = {limits.temperature_degC_min:g}",
            "swap or change the two",
        )
    if limits.fan_kg_per_s_min > limits.fan_kg_per_s_max:
        yield (
            "limits.fan_kg_per_s_max",
            f"{limits.fan_kg_per_s_max:g}",
            f"must be at least fan_kg_per_s_min = {limits.fan_kg_per_s_min:g}",
            "swap or change the two",
        )
    if limits.ramp_K_per_h_max > asked.ramp_K_per_h_max:
        yield (
            "limits.ramp_K_per_h_max",
            f"{limits.ramp_K_per_h_max:g}",
            f"must be at most constraints.ramp_K_per_h_max = {asked.ramp_K_per_h_max:g}",
            "a recipe must not be allowed what the product is spared",
        )
    if asked.product_degC_max > limits.product_degC_max:
        yield (
            "constraints.product_degC_max",
            f"{asked.product_degC_max:g}",
            f"must be at most limits.product_degC_max = {limits.product_degC_max:g}",
            "heat must fade out before the limit is reached",
        )


def _fog(chamber: ChamberFile) -> Iterator[Finding]:
    before = 0.0
    for number, bank in enumerate(chamber.fog.bank):
        here = f"fog.bank[{number}]"
        if bank.kg_per_h * bank.cycle_s > PULSE_MAX_KG_S_PER_H:
            yield (
                f"{here}.cycle_s",
                f"{bank.cycle_s:g}",
                f"kg_per_h x cycle_s must be at most 3600, is {bank.kg_per_h * bank.cycle_s:g}",
                f"pulse faster: {PULSE_MAX_KG_S_PER_H / bank.kg_per_h:.0f} s or less, or use a smaller bank",
            )
        if bank.on_s_min + bank.off_s_min > bank.cycle_s:
            yield (
                f"{here}.cycle_s",
                f"{bank.cycle_s:g}",
                f"must be at least on_s_min + off_s_min = {bank.on_s_min + bank.off_s_min:g}",
                "give the valve a longer cycle or shorter minimum times",
            )
        if bank.kg_per_h < before:
            yield f"{here}.kg_per_h", f"{bank.kg_per_h:g}", "banks stand smallest first", "change their order"
        before = bank.kg_per_h


def _actuators(chamber: ChamberFile) -> Iterator[Finding]:
    fan, heat, vent, frame = chamber.fan, chamber.heat, chamber.vent, chamber.frame_heating
    slowest = fan.flow_kg_per_s_at_full * fan.speed_pct_min / 100.0
    for field, flow in (
        ("limits.fan_kg_per_s_max", chamber.limits.fan_kg_per_s_max),
        ("sequence.fan_kg_per_s", chamber.sequence.fan_kg_per_s),
    ):
        if flow > fan.flow_kg_per_s_at_full:
            limit = f"must be at most fan.flow_kg_per_s_at_full = {fan.flow_kg_per_s_at_full:g}"
            yield field, f"{flow:g}", limit, "choose a flow that the fan can give"
    if chamber.sequence.fan_kg_per_s < slowest:
        limit = f"must be at least {slowest:g}, the flow at fan.speed_pct_min"
        yield "sequence.fan_kg_per_s", f"{chamber.sequence.fan_kg_per_s:g}", limit, "choose a larger flow"
    if heat.kW_min >= heat.capacity_kW:
        limit = f"must be below capacity_kW = {heat.capacity_kW:g}"
        yield "heat.kW_min", f"{heat.kW_min:g}", limit, "the heater could never come on: lower it"
    if isinstance(heat, HeatConfig) and heat.water_nominal_degC <= heat.air_nominal_degC:
        limit = f"must be above air_nominal_degC = {heat.air_nominal_degC:g}"
        yield "heat.water_nominal_degC", f"{heat.water_nominal_degC:g}", limit, "give the design temperatures"
    for number, stage in enumerate(heat.stages):
        here = f"heat.stage[{number}]"
        if stage.kW > heat.stages[0].kW:
            limit = f"must be at most that of the first, {heat.stages[0].kW:g}"
            yield f"{here}.kW", f"{stage.kW:g}", limit, "the pulsed stage stands first and fills every gap"
        if stage.on_s_min + stage.off_s_min > stage.cycle_s and number == 0:
            limit = f"must be at least on_s_min + off_s_min = {stage.on_s_min + stage.off_s_min:g}"
            yield f"{here}.cycle_s", f"{stage.cycle_s:g}", limit, "give it a longer cycle or shorter minimum times"
    if isinstance(heat, GasConfig) and heat.on_s_min <= heat.purge_s:
        limit = f"must be above purge_s = {heat.purge_s:g}"
        yield "heat.on_s_min", f"{heat.on_s_min:g}", limit, "the burner would be stopped before it burns"
    if vent.kg_per_s_min >= vent.kg_per_s_max:
        limit = f"must be below kg_per_s_max = {vent.kg_per_s_max:g}"
        yield "vent.kg_per_s_min", f"{vent.kg_per_s_min:g}", limit, "the vent could never open: lower it"
    if frame is not None and frame.off_margin_K <= frame.on_margin_K:
        limit = f"must be above on_margin_K = {frame.on_margin_K:g}"
        yield "frame_heating.off_margin_K", f"{frame.off_margin_K:g}", limit, "it would switch on and off all the time"


def _protection(chamber: ChamberFile) -> Iterator[Finding]:
    """Protection must hold the same outputs as the actuators drive, and trip above what a recipe may ask for."""
    guard, frame = chamber.protection, chamber.frame_heating
    output = "fire" if chamber.heat.kind == "gas" else "valve"
    for field, tag, actuator, driven in (
        ("fan_speed", guard.fan_speed, "fan.speed", chamber.fan.speed),
        ("fan_run", guard.fan_run, "fan.run", chamber.fan.run),
        ("heat_valve", guard.heat_valve, f"heat.{output}", chamber.heat.drive),
        ("heat_run", guard.heat_run, "heat.enable", chamber.heat.enable),
        ("vent", guard.vent, "vent.damper", chamber.vent.damper),
        ("frame_heat", guard.frame_heat, "frame_heating.output", frame.output if frame else guard.frame_heat),
    ):
        if tag != driven:
            limit = f'must be {driven or chr(34) * 2}, as {actuator}'
            yield f"protection.{field}", tag, limit, "it must act on the output that is driven"
    for stage in chamber.heat.stages:
        if stage.tag not in guard.heat_stages:
            limit = f"must have {stage.tag}, a stage of [heat]"
            yield "protection.heat_stages", ", ".join(guard.heat_stages), limit, "it must be able to switch all off"
    for bank in chamber.fog.bank:
        if bank.tag not in guard.fog_valves:
            limit = f"must have {bank.tag}, a bank of [fog]"
            yield "protection.fog_valves", ", ".join(guard.fog_valves), limit, "it must be able to close every bank"
    for field, trip, name, most in (
        ("air_degC_max", guard.air_degC_max, "temperature_degC_max", chamber.limits.temperature_degC_max),
        ("product_degC_max", guard.product_degC_max, "product_degC_max", chamber.limits.product_degC_max),
    ):
        if trip <= most:
            limit = f"must be above limits.{name} = {most:g}"
            yield f"protection.{field}", f"{trip:g}", limit, "a recipe at its limit would trip it"
    for table, rows in (("delay_s", guard.delay_s), ("latch", guard.latch)):
        for row, value in rows.items():
            if row not in NUMBER:
                meant = words.closest(row, list(NUMBER))
                remedy = f"did you mean {meant}?" if meant else f"rows: {words.listed(list(NUMBER))}"
                yield f"protection.{table}.{row}", value, "there is no such row", remedy


def _alarms(chamber: ChamberFile) -> Iterator[Finding]:
    asked = chamber.alarms
    rising = (asked.drying_mean_warn, asked.drying_mean_max, asked.drying_at_once_max)
    for field, below, value in (
        ("drying_mean_max", "drying_mean_warn", rising[:2]),
        ("drying_at_once_max", "drying_mean_max", rising[1:]),
    ):
        if value[1] <= value[0]:
            limit = f"must be above {below} = {value[0]:g}"
            yield f"alarms.{field}", f"{value[1]:g}", limit, "a warning comes before its alarm"
