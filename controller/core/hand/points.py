"""What people may do by hand to which point, row, loop or setpoint of a chamber: bound once, asked for each order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from typing import NamedTuple

from controller.core.alarms.lamps import Tags
from controller.core.orders.commands import shown
from controller.core.orders.verbs import BYPASS, MANUAL, SIMULATE, TRIM
from controller.core.points import Point, index_of, of_kind
from controller.core.protection.plan import ProtectionPlan
from controller.core.rows.protection import FAN, FOG, FRAME, HEAT

LOOPS: tuple[str, ...] = ("heat", "fog", "vent", "fan")  # kW, kg/h, kg/s, percent: the fields of Demands
TRIMS: tuple[str, ...] = ("temperature", "humidity")  # K, %RH
_BEYOND = 0.25  # a simulated reading may lie so much of its span outside, to try what a broken one does


class Range(NamedTuple):
    """Column of a point and what may be put there."""

    column: int
    lo: float
    hi: float


@dataclass(frozen=True, slots=True)
class HandPoints:
    """rows: number of each row that may be bypassed, and the columns of its contacts; fast: tags of those that may not.

    readings, contacts, analog, lamps, discrete: AI, DI, AO, DO that alarms drive and other DO by tag. A contact of a
    row that cannot be bypassed has the range 0..0: open. fixed: outputs that nobody may force. loops, trims: what they
    may be set to. moves: bit (of the rows of protection) of what an output or a loop moves.
    """

    rows: Mapping[str, tuple[int, tuple[int, ...]]]
    fast: tuple[str, ...]
    readings: Mapping[str, Range]
    contacts: Mapping[str, Range]
    analog: Mapping[str, Range]
    discrete: Mapping[str, Range]
    lamps: Mapping[str, Range]
    fixed: frozenset[str]
    loops: Mapping[str, Range]
    trims: Mapping[str, Range]
    moves: Mapping[str, int]

    def settle(self, kind: str, tag: str, value: str | float | bool | None) -> tuple[float, str]:
        """(value to put there, why not)."""
        if kind == BYPASS:
            return 0.0, self._row(tag)
        place, where = self._place(kind, tag)
        if place is None:
            return 0.0, where
        if not isinstance(value, int | float) or not isfinite(value):
            return 0.0, f"value {shown(value)} of {tag} must be a number from {place.lo:g} to {place.hi:g}"
        if tag in self.contacts or tag in self.discrete or tag in self.lamps:
            if value not in (0, 1):
                return 0.0, f"value {shown(value)} of {tag} must be 0 or 1"
            if not place.lo <= value <= place.hi:
                return 0.0, f"value {value:g} of {tag} must be {place.lo:g}: {where}"
        elif not place.lo <= value <= place.hi:
            return 0.0, f"value {value:g} of {tag} must be {place.lo:g} to {place.hi:g}"
        return float(value), ""

    def _row(self, tag: str) -> str:
        if tag in self.rows:
            return ""
        may = f"only these can: {', '.join(self.rows) or 'none'}"
        return f"{tag} cannot be bypassed, {may}" if tag in self.fast else f"no row is called {tag!r}, {may}"

    def _place(self, kind: str, tag: str) -> tuple[Range | None, str]:
        """Where a value goes, and what to say of one that may not go there; None and why when it goes nowhere."""
        if kind in (MANUAL, TRIM):
            table = self.loops if kind == MANUAL else self.trims
            return table.get(tag), f"{kind} knows {', '.join(table)}, not {tag!r}"
        if tag in self.contacts:
            return self.contacts[tag], "a row that cannot be bypassed watches it, it may only be put open"
        if tag in self.readings:
            lo, hi = self.readings[tag].lo, self.readings[tag].hi
            more = _BEYOND * (hi - lo) if kind == SIMULATE else 0.0
            return Range(self.readings[tag].column, lo - more, hi + more), ""
        if kind == SIMULATE:
            return None, f"{tag!r} is no input: only an input can be simulated"
        if tag in self.fixed:
            return None, f"{tag} may not be forced, its chamber says so"
        for table, where in (
            (self.analog, ""), (self.discrete, ""),
            (self.lamps, "alarms drive it, it may only be put to what warns"),
        ):
            if tag in table:
                return table[tag], where
        return None, f"no point is called {tag!r}"


def bind(
    points: tuple[Point, ...],
    protection: ProtectionPlan,
    lamps: Tags,
    fixed: tuple[str, ...],
    loops: Mapping[str, float],
    trims: Mapping[str, float],
) -> HandPoints:
    """loops: the most each loop can be asked for. trims: how far each setpoint may be moved either way."""
    outputs = index_of(points, "DO")
    warns = {
        tag: 0.0 if name == "healthy" else 1.0
        for name in ("beacon", "beacon_high", "beacon_medium", "beacon_low", "horn", "healthy")
        if (tag := getattr(lamps, name))
    }
    held = _held(protection)
    return HandPoints(
        rows={
            row.tag: (number, protection.contacts_of_row(number))
            for number, row in enumerate(protection.rows)
            if row.bypassable
        },
        fast=tuple(row.tag for row in protection.rows if not row.bypassable),
        readings={
            point.tag: Range(column, min(point.lo, point.hi), max(point.lo, point.hi))
            for column, point in enumerate(of_kind(points, "AI"))
        },
        contacts={
            tag: Range(column, 0.0, 0.0 if column in held else 1.0) for tag, column in index_of(points, "DI").items()
        },
        analog={tag: Range(column, 0.0, 100.0) for tag, column in index_of(points, "AO").items()},
        discrete={tag: Range(column, 0.0, 1.0) for tag, column in outputs.items() if tag not in warns},
        lamps={tag: Range(outputs[tag], state, state) for tag, state in warns.items()},
        fixed=frozenset(fixed),
        loops={loop: Range(number, 0.0, loops[loop]) for number, loop in enumerate(LOOPS)},
        trims={what: Range(number, -trims[what], trims[what]) for number, what in enumerate(TRIMS)},
        moves=_moves(protection, index_of(points, "AO"), outputs),
    )


def _moves(protection: ProtectionPlan, analog: Mapping[str, int], discrete: Mapping[str, int]) -> dict[str, int]:
    speeds = {protection.fan_speed: FAN, protection.heat_valve: HEAT}
    contacts = {
        protection.fan_run: FAN, protection.heat_run: HEAT, protection.frame_heat: FRAME,
        **dict.fromkeys(protection.heat_stages, HEAT), **dict.fromkeys(protection.fog_valves, FOG),
    }
    found = {"heat": HEAT, "fog": FOG, "fan": FAN}
    found |= {tag: speeds[column] for tag, column in analog.items() if column in speeds}
    return found | {tag: contacts[column] for tag, column in discrete.items() if column in contacts}


def _held(protection: ProtectionPlan) -> frozenset[int]:
    """Columns of contacts that a row watches which cannot be bypassed."""
    return frozenset(
        column
        for number, row in enumerate(protection.rows)
        if not row.bypassable
        for column in protection.contacts_of_row(number)
    )
