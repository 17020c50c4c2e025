"""Every tag of a chamber file must be a point of the right kind, in the right unit, at a place that exists."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from controller.config import shapes, words
from controller.config.chamber import ChamberFile
from controller.core.points import Kind, Point
from controller.errors import Problem


class Role(NamedTuple):
    """What a tag at one place of the chamber file must be. unit "" = any; may_be_empty: "" means there is none; also:
    another kind that may stand there."""

    kind: Kind
    unit: str = ""
    may_be_empty: bool = False
    also: Kind | None = None


# Place in the chamber file, list entries without their number -> what its tag must be.
ROLES: dict[str, Role] = {
    "frozen.tags": Role("AI"),
    "frozen.airflow": Role("DI", may_be_empty=True),
    "climate.pairs.t": Role("AI", "degC"),
    "climate.pairs.rh": Role("AI", "%RH", may_be_empty=True),
    "climate.pairs.wet": Role("AI", "degC", may_be_empty=True),
    "climate.pairs.dew": Role("AI", "degC", may_be_empty=True),
    "climate.boards.tag": Role("AI", "degC"),
    "climate.frames.tag": Role("AI", "degC"),
    "climate.ceiling": Role("AI", "degC"),
    "climate.supply": Role("AI", "degC"),
    "climate.return_air": Role("AI", "degC"),
    "climate.hall": Role("AI", "degC"),
    "climate.outdoor_t": Role("AI", "degC"),
    "climate.outdoor_rh": Role("AI", "%RH"),
    "climate.airflow": Role("AI", "kg/s"),
    "climate.fan_power": Role("AI", "kW"),
    "climate.heat_power": Role("AI", "kW"),
    "climate.fog_flow": Role("AI", "kg/h"),
    "product.dummies.tag": Role("AI", "degC"),
    "fan.speed": Role("AO"),
    "fan.run": Role("DO"),
    "heat.valve": Role("AO"),
    "heat.fire": Role("AO"),
    "heat.stage.tag": Role("DO"),
    "heat.enable": Role("DO"),
    "heat.ready": Role("DI"),
    "heat.water": Role("AI", "degC", may_be_empty=True),
    "fog.ready": Role("DI"),
    "fog.modulation": Role("AO", may_be_empty=True),
    "fog.bank.tag": Role("DO"),
    "vent.damper": Role("AO"),
    "frame_heating.output": Role("DO"),
    "frame_heating.frames": Role("AI", "degC"),
    "protection.airflow": Role("DI"),
    "protection.row.contacts": Role("DI"),
    "protection.row.readings": Role("AI"),
    "protection.fan_runs": Role("DI"),
    "protection.emergency_stop": Role("DI"),
    "protection.limiter": Role("DI"),
    "protection.person_inside": Role("DI"),
    "protection.fog_pressure": Role("DI"),
    "protection.doors": Role("DI"),
    "protection.fan_auto": Role("DI"),
    "protection.heat_auto": Role("DI"),
    "protection.fog_auto": Role("DI"),
    "protection.supply": Role("AI", "degC"),
    "protection.product_temperatures": Role("AI", "degC"),
    "protection.fan_speed": Role("AO"),
    "protection.fan_run": Role("DO"),
    "protection.heat_valve": Role("AO", may_be_empty=True),
    "protection.heat_stages": Role("DO"),
    "protection.heat_run": Role("DO"),
    "protection.fog_valves": Role("DO"),
    "protection.vent": Role("AO"),
    "protection.frame_heat": Role("DO"),
    "alarms.in_hand": Role("DI"),
    "alarms.mains": Role("DI"),
    "alarms.battery": Role("DI", may_be_empty=True),
    "alarms.beacon": Role("DO"),
    "alarms.beacon_high": Role("DO", may_be_empty=True),
    "alarms.beacon_medium": Role("DO", may_be_empty=True),
    "alarms.beacon_low": Role("DO", may_be_empty=True),
    "alarms.horn": Role("DO"),
    "alarms.healthy": Role("DO"),
    "by_hand.fixed": Role("AO", also="DO"),
    "wear.drives": Role("DI", also="DO"),
    "duty.reading": Role("AI", may_be_empty=True),
}
# Lists in which a tag may stand only once.
_ONCE = (
    "climate.pairs.t", "climate.pairs.rh", "climate.pairs.wet", "climate.pairs.dew", "climate.boards.tag",
    "climate.frames.tag", "product.dummies.tag",
)  # fmt: skip
# Actuators on one point would command it against each other. Protection acts on the same points on purpose.
_ACTUATORS = tuple(
    place
    for place, role in ROLES.items()
    if role.kind in ("AO", "DO") and not place.startswith(("protection.", "by_hand."))
)


def problems(chamber: ChamberFile, points: tuple[Point, ...], file: str, points_file: str) -> list[Problem]:
    """Every tag that is not what its place asks for, and every place outside the chamber."""
    known = {point.tag: point for point in points}
    found: list[Problem] = []
    seen: dict[tuple[str, str], str] = {}
    for loc, plain, value in leaves(chamber):
        where = shapes.place(loc)
        role = ROLES.get(plain)
        if role is not None and isinstance(value, str) and not (role.may_be_empty and not value):
            found += _tag_problems(where, value, role, known, file, points_file)
            group = plain if plain in _ONCE else "output" if plain in _ACTUATORS else where
            first = seen.setdefault((group, value), where)
            if first != where:
                found.append(Problem(file, where, value, f"already used by {first}", "give each its own point"))
        elif plain.endswith((".bay", ".level")) and isinstance(value, int):
            most = chamber.bays if plain.endswith(".bay") else chamber.levels
            if value > most:
                limit = f"must be from 1 to {most}"
                remedy = f"correct the place, or {'bays' if plain.endswith('.bay') else 'levels'} at the top"
                found.append(Problem(file, where, str(value), limit, remedy))
    for tag in chamber.signals.offset:
        found += _tag_problems(f"signals.offset.{tag}", tag, Role("AI"), known, file, points_file)
    return found


def outputs_of(chamber: ChamberFile) -> dict[str, str]:
    """Every output that the chamber file uses: tag -> the place that drives it."""
    return {
        value: shapes.place(loc)
        for loc, plain, value in leaves(chamber)
        if plain in _ACTUATORS and isinstance(value, str) and value
    }


def leaves(config: Any, loc: shapes.Loc = ()) -> Iterator[tuple[shapes.Loc, str, object]]:
    """Every single value of a config: its place, the place without list numbers, the value. Tables of free keys
    (such as [signals.offset]) are left out."""
    if dataclasses.is_dataclass(config):
        for field in dataclasses.fields(config):
            yield from leaves(getattr(config, field.name), (*loc, field.name))
    elif isinstance(config, tuple):
        for number, entry in enumerate(config):
            yield from leaves(entry, (*loc, number))
    elif not isinstance(config, Mapping):
        yield loc, ".".join(step for step in loc if isinstance(step, str)), config


def unnamed(chamber: ChamberFile, points: Iterable[Point], pulses: Iterable[str]) -> list[str]:
    """What is in the point list and nothing uses, a sentence a kind; empty when all is named.

    pulses: coils that devices pulse by themselves.
    """
    named = {*(value for _loc, _place, value in leaves(chamber) if isinstance(value, str)), *pulses}
    left = [point for point in points if point.tag not in named]
    said = []
    for kinds, first in ((("AI", "DI"), "only recorded"), (("AO", "DO"), "never driven, it stays at rest")):
        tags = [point.tag for point in left if point.kind in kinds]
        if tags:
            said.append(f"{first}, no section of the chamber file names it: {', '.join(tags)}")
    return said


def _tag_problems(
    where: str, tag: str, role: Role, known: dict[str, Point], file: str, points_file: str
) -> list[Problem]:
    point = known.get(tag)
    if point is None:
        kin = [name for name, other in known.items() if other.kind in (role.kind, role.also)]
        meant = words.closest(tag, kin)
        remedy = f"did you mean {meant}?" if meant else "add the point to the point list or correct the tag"
        return [Problem(file, where, tag, f"is no point of {points_file}", remedy)]
    if point.kind not in (role.kind, role.also):
        kind = role.kind if role.also is None else f"{role.kind} or {role.also}"
        return [Problem(file, where, tag, f"must be {kind}, {tag} is {point.kind}", f"name the {kind} point meant")]
    if role.unit and point.unit != role.unit:
        limit = f"must be in {role.unit}, {tag} is in {point.unit or 'no unit'}"
        return [Problem(file, where, tag, limit, "name the point that is meant, or correct its unit")]
    return []
