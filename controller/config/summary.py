"""A recipe in words: one row a phase, with setpoints, what ends it, and what a door and a power loss do in it."""

from __future__ import annotations

from controller.core.sequence.phase_kinds import APART_K, DOOR, KINDS, RESTART_S, outage_words
from controller.core.sequence.recipe import ChamberLimits, End, Phase, Recipe

UNLOOKED = ("phase", "with a door open", "after a power loss under an hour", "after a longer one")
HEADER = ("phase", "air degC", "rate K/h", "fog below %", "judged from %", "fan kg/s", "ends when")


def rows(recipe: Recipe) -> list[tuple[str, ...]]:
    """One row of texts a phase, in the order of HEADER."""
    return [
        (
            f"{number} {phase.kind}",
            _temperature(phase),
            _or_dash(phase.rate_K_per_h),
            _or_dash(phase.rh_fog_below_pct or None) if not phase.rh_vent_above_pct
            else f"dry below {phase.rh_vent_above_pct:g}",
            _or_dash(phase.rh_accept_pct or None),
            _fan(phase),
            ending(phase.end, dries=phase.rh_vent_above_pct > 0.0),
        )
        for number, phase in enumerate(recipe.phases, start=1)
    ]


def unlooked_for(recipe: Recipe) -> list[tuple[str, ...]]:
    """One row a phase, in the order of UNLOOKED: an open door, and a controller that is back after an outage."""
    return [
        (
            f"{number} {phase.kind}",
            ", ".join(DOOR[phase.on_door]),
            outage_words("middle", phase.on_outage, phase.kind),
            outage_words("long", phase.on_outage, phase.kind),
        )
        for number, phase in enumerate(recipe.phases, start=1)
    ]


def air_found(recipe: Recipe, limits: ChamberLimits) -> list[str]:
    """What the air that is found after a power loss does, in lines: to which phases, by their numbers."""
    numbered = list(enumerate(recipe.phases, start=1))
    setting = [number for number, phase in numbered if KINDS[phase.kind].sets]
    alone = [number for number, phase in numbered if KINDS[phase.kind].sets and phase.on_outage == "resume"]
    others = [number for number, _phase in numbered if number not in setting]
    low, high = limits.temperature_degC_min, limits.temperature_degC_max
    said = [f"the air after a power loss, once it could be believed for {RESTART_S / 60.0:g} min:"]
    if setting:
        where = f"{low:g} to {high:g} degC ([limits] of the chamber)"
        said.append(f"  {_phases(setting)}: outside {where} the cycle aborts")
    if alone:
        said.append(f"  {_phases(alone)}: more than {APART_K:g} K off its band it does not restart by itself")
    if others:
        said.append(f"  {_phases(others)}: any air will do, nothing there is still to set")
    return said


def _phases(numbers: list[int]) -> str:
    return ("phase " if len(numbers) == 1 else "phases ") + ", ".join(map(str, numbers))


def ending(end: End, *, dries: bool = False) -> str:
    """When a phase is over, as a sentence part. dries: its band is one of humidity."""
    parts = [
        text
        for value, text in (
            (end.time_h, f"{end.time_h} h of the phase"),
            (end.cycle_h, f"{end.cycle_h} h of the cycle"),
            (end.equivalent_age_h, f"youngest position {end.equivalent_age_h} h old at 20 degC"),
            (end.strength_MPa, f"weakest position {end.strength_MPa} MPa (estimated, not tested)"),
            (end.product_degC_above, f"product above {end.product_degC_above} degC"),
            (end.product_degC_below, f"product below {end.product_degC_below} degC"),
        )
        if value is not None
    ]
    if end.in_band:
        parts.append("the air is dry" if dries else "coldest probe in the band")
    if end.full:
        parts.append("the last board is in")
    if end.empty:
        parts.append("the last board is out")
    if end.by_operator:
        parts.append("somebody stops it")
    text = (" and " if end.match == "all" else " or ").join(parts) or "the band is reached"
    if end.at_least_h:
        text += f", not before {end.at_least_h} h"
    if end.at_most_h is not None:
        text += f", at the latest after {end.at_most_h} h"
    return text.replace(".0 ", " ")


def table(lines: list[tuple[str, ...]]) -> str:
    """Rows as text in columns, the first row underlined."""
    widths = [max(len(row[column]) for row in lines) for column in range(len(lines[0]))]
    texts = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in lines]
    return "\n".join([texts[0], "-" * len(texts[0]), *texts[1:]])


def _temperature(phase: Phase) -> str:
    if phase.temperature_degC is not None:
        return f"{phase.temperature_degC:g}"
    return f"{_or_dash(phase.floor_degC)} to {_or_dash(phase.ceiling_degC)}"


def _fan(phase: Phase) -> str:
    said = _or_dash(phase.fan_kg_per_s)
    if not phase.fan_off_s:
        return said
    return f"{said}, {phase.fan_on_s / 60.0:g} min of {(phase.fan_on_s + phase.fan_off_s) / 60.0:g}"


def _or_dash(value: float | None) -> str:
    return "-" if value is None else f"{value:g}"
